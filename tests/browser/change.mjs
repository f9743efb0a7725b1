// Limits: changed and accepted by an engineer, refused to a viewer, not overwritten by a second engineer.
import assert from "node:assert/strict";

import { Console, DIE, ENGINEER, OTHER_ENGINEER, PASSWORD, altered, engineer, folder, sample } from "./consoles.mjs";

export async function signIn(page, shop, name = ENGINEER) {
  await page.go(shop.url + "/sign-in");
  await page.type("input[name=name]", name);
  await page.type("input[name=password]", PASSWORD);
  await page.leads(() => page.press("Enter"));
  await page.until("the dies", () => location.pathname === "/dies");
}

export async function change(tell, shop) {
  await tell("an engineer changes a limit, sees what it would have stopped, accepts it, and the journal tells", async (visitor) => {
    const page = await visitor.page();
    await signIn(page, shop);
    await page.leads(() => page.click("tbody a"));
    assert.match(await page.text("h1"), /Die five-station/);
    assert.match(await page.text("main"), /No version is accepted: this die holds no press/);
    const cautions = await page.ask(() => [...document.querySelectorAll("form.change")].map((form) => form.innerText.includes("replaces no guard")));
    assert.deepEqual(cautions, [true, true], "a caution stands beside each button that sets limits");
    await page.type("input[name=peak_high]", "1205");
    await page.type("form[action$=draft] input[name=reason]", "no good stroke came near");
    await page.leads(() => page.click("form[action$=draft] button"));
    assert.match(await page.text("main"), /Draft limits, version 2/);
    const review = await page.ask(() => document.querySelector("[aria-label='What the limits would have stopped'] tbody tr").innerText);
    assert.match(review, /1205 kN/);
    await page.type("form[action$=accept] input[name=reason]", "seen against the stored strokes");
    await page.leads(() => page.click("form[action$=accept] button"));
    assert.match(await page.text("main"), /Version 3 is accepted, by A\. Engineer/);
    await page.go(shop.url + "/journal?kind=limits-accepted");
    const row = await page.text("tbody tr");
    for (const words of [ENGINEER, "nothing accepted", "1205 kN", "seen against the stored strokes"]) assert.ok(row.includes(words), row);
    // The next strokes are judged by it.
    const card = (await shop.json(`/api${DIE.replace("/die/", "/dies/")}`)).find((version) => version.version === 3);
    assert.ok(card.accepted);
    for (let n = 0; ; n += 1) {
      const [newest] = await shop.json("/api/strokes");
      if (newest.card === card.id) break;
      assert.ok(n < 100, "no stroke is judged by the accepted version");
      await new Promise((resolve) => setTimeout(resolve, 200));
    }
    assert.deepEqual(page.problems, []);
  });

  await tell("a viewer is offered no form and refused where one is sent all the same", async (visitor) => {
    const page = await visitor.page();
    await page.go(shop.url + DIE);
    assert.equal(await page.ask(() => document.querySelectorAll("form[method=post]").length), 0);
    assert.match(await page.text("main"), /Sign in as engineer to change or accept limits/);
    const before = (await shop.json(`/api${DIE.replace("/die/", "/dies/")}`)).length;
    await page.leads(() => page.ask((at) => {
      const form = document.createElement("form");
      form.method = "post";
      form.action = at + "/accept";
      for (const [name, value] of [["token", "0"], ["version", "1"], ["reason", "mine"]]) {
        const input = document.createElement("input");
        input.name = name;
        input.value = value;
        form.append(input);
      }
      document.body.append(form);
      form.submit();
    }, DIE));
    assert.match(await page.text("main"), /Not allowed[\s\S]*Only an engineer may change limits/);
    assert.equal((await shop.json(`/api${DIE.replace("/die/", "/dies/")}`)).length, before);
  });

  await tell("a wrong password is refused in words and the page stays usable", async (visitor) => {
    const page = await visitor.page();
    await page.go(shop.url + "/sign-in");
    await page.type("input[name=name]", ENGINEER);
    await page.type("input[name=password]", "correct horse batter");
    await page.leads(() => page.press("Enter"));
    assert.match(await page.text("main"), /Not allowed[\s\S]*do not go together/);
    await signIn(page, shop);
  });

  await tell("two engineers with one die open do not overwrite each other", async (visitor) => {
    const one = await visitor.page();
    await signIn(one, shop);
    await one.go(shop.url + DIE);
    const friend = await one.browser.visitor();
    const other = await friend.page();
    await signIn(other, shop, OTHER_ENGINEER);
    await other.go(shop.url + DIE);
    for (const [page, high] of [[one, "1210"], [other, "990"]]) {
      await page.type("input[name=peak_high]", high);
      await page.type("form[action$=draft] input[name=reason]", "a trial");
      await page.leads(() => page.click("form[action$=draft] button"));
    }
    assert.match(await one.text("main"), /Draft limits, version \d+/);
    const versions = () => shop.json(`/api${DIE.replace("/die/", "/dies/")}`);
    assert.match(await other.text("main"), /Changed meanwhile[\s\S]*by A\. Engineer[\s\S]*a trial[\s\S]*Nothing of yours was stored/);
    const [first] = await versions();
    assert.equal(first.limits.peak_kn[1], 1210);
    // What the second engineer wrote is not lost: it stands there beside what holds now, and can be sent on.
    const typed = () => ["peak_high", "reason"].map((name) => document.querySelector(`form[action$=draft] [name=${name}]`).value);
    assert.deepEqual(await other.ask(typed), ["990", "a trial"]);
    assert.match(await other.text("form[action$=draft]"), /version \d+: .*1210 kN/);
    await other.leads(() => other.click("form[action$=draft] button"));
    const [second] = await versions();
    assert.equal(second.version, first.version + 1);
    assert.equal(second.limits.peak_kn[1], 990);
    assert.deepEqual(other.problems, []);
    await friend.leave();
  });

  await tell("a mistake in a number is named, and going back the form is as it was and still good", async (visitor) => {
    const page = await visitor.page();
    await signIn(page, shop);
    await page.go(shop.url + DIE);
    await page.type("input[name=peak_high]", "much");
    await page.type("form[action$=draft] input[name=reason]", "a slip");
    await page.leads(() => page.click("form[action$=draft] button"));
    assert.match(await page.text("main"), /Peak load: a number from 0 on/);
    await page.ask(() => { history.back(); });
    await page.until("the form again", () => location.pathname.startsWith("/die/") && document.querySelector("input[name=peak_high]"));
    await page.type("input[name=peak_high]", "1220");
    await page.type("form[action$=draft] input[name=reason]", "a slip mended");
    await page.leads(() => page.click("form[action$=draft] button"));
    assert.match(await page.text("main"), /Draft limits[\s\S]*a slip mended/);
  });

  await tell("scripts in the names of press, die, engineer and in reasons are shown, not run", async (visitor) => {
    const script = "<img src=x onerror=window.executed=1><script>window.executed=1</script>";
    const toml = `'${script}'`;
    const press = altered("presses/five-station.toml", [['"P3"', toml]]);
    const die = altered("dies/five-station.toml", [['"P3"', toml], ['"five-station (invented)"', toml]]);
    const data = folder();
    engineer(data, script);
    const odd = await Console.start(data, ["--replay", sample("faulty/five-station-broken.csv"), "--press", press, "--die", die, "--pace", "0"]);
    const page = await visitor.page();
    await signIn(page, odd, script);
    await page.leads(() => page.click("tbody a"));
    await page.type("form[action$=draft] input[name=reason]", script);
    await page.leads(() => page.click("form[action$=draft] button"));
    const [held] = await odd.json("/api/strokes?verdict=hold");
    const at = new URL(await page.ask(() => location.href)).pathname;
    const name = encodeURIComponent(script);
    const paths = ["/", `/press/${name}`, "/strokes", `/stroke/${held.id}`, `/stroke/${held.id}/signature.svg`, "/dies", at, `/wear?press=${name}`, `/wear/${name}/peaks.svg`, "/journal", `/journal?q=${name}`, "/about", "/sign-in", `/${name}`];
    for (const path of paths) {
      await page.go(odd.url + path);
      await page.ask(() => new Promise((resolve) => setTimeout(resolve, 50)));
      assert.equal(await page.ask(() => window.executed ?? null), null, path);
      assert.equal(await page.ask(() => document.querySelectorAll("img[src='x'], [onerror]").length), 0, path);
    }
    assert.ok((await page.text("main")).length > 0);
    assert.deepEqual(page.problems.filter((problem) => !problem.includes("favicon")), []);
    await odd.stop();
  });
}
