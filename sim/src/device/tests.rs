//! The real drivers, the real core and the real store against the simulated devices.

use super::board::Board;
use super::converter::Fault;
use super::crank::EncoderUnit;
use super::flash::{Flash, Supply, Torn};
use super::pin::Wire;
use super::relay::{Dog, Relay, RelayFault};
use crate::frames::{CrankInput, frame};
use crate::scenario::{Scenario, find};
use crate::simulator::{SimSample, Simulator};
use bolster_core::frame::{CrankReading, Frame};
use bolster_core::monitor::Monitor;
use bolster_core::settings::PressSettings;
use bolster_core::signature::SIGNATURE_BINS;
use bolster_core::stroke::StrokeSource;
use bolster_core::units::Tick;
use bolster_drivers::converter::{Converter, ConverterError, Gain, Oversampling, Setup};
use bolster_drivers::crank::{Encoder, EncoderCount};
use bolster_drivers::inputs::{Debounce, read};
use bolster_drivers::permit::{FrameHealth, Guardian, Output, PermitFault, PermitOutput};
use bolster_store::{Regions, Store, StoreError};
use embassy_futures::block_on;

type Core = Monitor<4, SIGNATURE_BINS, 64>;

/// Counts of the encoder's turn: the scenarios' own.
const PER_TURN: u16 = 16384;

/// Readings of whole turns of the five-station press, with the number of their stroke.
fn turns(strokes: u32) -> (Simulator, Vec<(u32, SimSample)>) {
    let mut wanted = Scenario::from_toml(find("five-station").unwrap()).unwrap();
    (wanted.angle_from_deg, wanted.angle_to_deg) = (0.0, 360.0);
    wanted.drive.stop_every = 0;
    wanted.strokes = strokes;
    let simulator = Simulator::new(&wanted).unwrap();
    let readings =
        simulator.clone().flat_map(|s| s.samples.into_iter().map(move |sample| (s.number, sample)));
    let readings = readings.collect();
    (simulator, readings)
}

fn core(simulator: &Simulator) -> Core {
    let scale = simulator.calibration();
    let hz = simulator.scenario().sample_hz;
    let per_count = scale[0].kn_per_count as f32;
    let mut settings = PressSettings::<4>::usual(*simulator.press(), hz, per_count, StrokeSource::Encoder);
    for (zero, scale) in settings.calibration.zero_counts.iter_mut().zip(scale) {
        *zero = scale.zero_counts as i32;
    }
    Monitor::new(settings.build().unwrap())
}

/// What runs on the controller, as far as the devices are concerned.
struct Controller {
    converter: Converter<super::converter::Bus, super::converter::Ready>,
    encoder: Encoder,
    sensors: [Wire; 8],
    debounce: Debounce,
    output: PermitOutput<Wire, Wire>,
    core: Core,
}

const SETUP: Setup = Setup {
    oversampling: Oversampling::By512,
    gain: match Gain::times(32) {
        Some(gain) => gain,
        None => panic!(),
    },
};

impl Controller {
    /// Starts as after power-up; self-test has not passed yet.
    fn start(board: &Board, core: Core) -> Self {
        let (bus, ready) = board.converter.wires();
        let (coil, contact) = board.relay.wires();
        let mut converter = Converter::new(bus, ready, 10);
        converter.set_up(SETUP).expect("the part is sound");
        Self {
            converter,
            encoder: Encoder::new(PER_TURN, 0).unwrap(),
            sensors: board.sensors.clone(),
            debounce: Debounce::new(0),
            output: PermitOutput::new(coil, contact, 20),
            core,
        }
    }

    /// The frame of this instant.
    fn frame(&mut self, tick: u64, crank: EncoderCount) -> Result<Option<Frame<4>>, ConverterError> {
        let crank = self.encoder.step(crank);
        let sensors = self.debounce.step(read(&mut self.sensors));
        let counts = self.converter.poll()?;
        Ok(counts.map(|counts| Frame { tick: Tick(tick as u32), counts, crank, sensors }))
    }

    /// One turn of the sample loop; gives whether the permit is asked for.
    fn turn(&mut self, tick: u64, crank: EncoderCount) -> bool {
        let permit = match self.frame(tick, crank) {
            Ok(Some(frame)) => self.core.step(&frame).permit,
            _ => false,
        };
        self.output.step(permit).is_ok() && permit
    }
}

fn board() -> Board {
    Board::new(EncoderUnit::new(PER_TURN, 0), Relay::new(8))
}

#[test]
fn a_stroke_through_the_drivers_is_the_stroke_itself() {
    let (simulator, readings) = turns(5);
    let mut board = board();
    let mut controller = Controller::start(&board, core(&simulator));
    let mut direct = core(&simulator);
    let mut reports = 0;
    for (stroke, sample) in &readings {
        let shown = board.reading(*stroke, sample);
        let frame_of = controller.frame(sample.tick, shown).unwrap().expect("a reading at every tick");
        if *stroke == 1 {
            // Until the index has passed once the encoder says that it does not know.
            assert_eq!(frame_of.crank, CrankReading::Fault);
            continue;
        }
        let wanted: Frame<4> = frame(sample, CrankInput::Encoder);
        assert_eq!(frame_of, wanted, "stroke {stroke}, tick {}", sample.tick);
        let (found, wanted) = (controller.core.step(&frame_of), direct.step(&wanted));
        assert_eq!(found, wanted);
        if found.reported {
            reports += 1;
            assert_eq!(controller.core.report(), direct.report());
            let peak = controller.core.report().unwrap().features.total.peak.value;
            assert!(peak > 500.0, "a stroke of {peak} kN");
        }
    }
    assert_eq!(
        reports, 2,
        "of strokes 3 and 4: the second began before its first frame, the fifth has not ended"
    );
}

#[test]
fn a_damaged_answer_costs_its_reading_and_a_damaged_command_is_told() {
    let board = board();
    let (bus, ready) = board.converter.wires();
    let mut driver = Converter::new(bus, ready, 10);
    driver.set_up(SETUP).unwrap();
    for bit in [0, 15, 24, 47, 48, 100, 127, 135] {
        board.converter.fail(Fault::AnswerBit(bit));
        board.converter.convert([1, 2, 3, 4]);
        assert_eq!(driver.poll(), Err(ConverterError::Checksum), "bit {bit}");
        board.converter.convert([5, 6, 7, 8]);
        assert_eq!(driver.poll(), Ok(Some([5, 6, 7, 8])), "bit {bit}");
    }
    for bit in [0, 9, 24, 39] {
        board.converter.fail(Fault::CommandBit(bit));
        board.converter.convert([1, 2, 3, 4]);
        assert!(driver.poll().is_ok(), "the part tells in the next frame");
        board.converter.convert([5, 6, 7, 8]);
        assert_eq!(driver.poll(), Err(ConverterError::Upset), "bit {bit}");
        board.converter.convert([9, 9, 9, 9]);
        assert_eq!(driver.poll(), Ok(Some([9, 9, 9, 9])), "bit {bit}");
    }
}

#[test]
fn a_reset_in_mid_stroke_is_noticed_and_set_right() {
    let board = board();
    let (bus, ready) = board.converter.wires();
    let mut driver = Converter::new(bus, ready, 10);
    driver.set_up(SETUP).unwrap();
    board.converter.convert([1, -2, 3, -8_388_608]);
    assert_eq!(driver.poll(), Ok(Some([1, -2, 3, -8_388_608])));
    board.converter.fail(Fault::Reset);
    assert_eq!(board.converter.register(4), 0, "gain is gone");
    board.converter.convert([1, 2, 3, 4]);
    assert_eq!(driver.poll(), Err(ConverterError::WasReset));
    driver.set_up(SETUP).unwrap();
    assert_eq!(board.converter.register(4), 0x5555);
    board.converter.convert([5, 6, 7, 8]);
    assert_eq!(driver.poll(), Ok(Some([5, 6, 7, 8])));
}

#[test]
fn a_data_ready_that_does_not_come_is_an_error_after_the_drivers_patience() {
    let board = board();
    let (bus, ready) = board.converter.wires();
    let mut driver = Converter::new(bus, ready, 10);
    driver.set_up(SETUP).unwrap();
    for (fault, comes_back) in [(Fault::ReadyLost(11), true), (Fault::Dead, false)] {
        board.converter.fail(fault);
        for poll in 1..=11 {
            board.converter.convert([poll; 4]);
            let wanted = if poll <= 10 { Ok(None) } else { Err(ConverterError::NotReady) };
            assert_eq!(driver.poll(), wanted, "{fault:?}, poll {poll}");
        }
        board.converter.convert([7; 4]);
        assert_eq!(driver.poll() == Ok(Some([7; 4])), comes_back, "{fault:?}");
    }
    assert_eq!(driver.set_up(SETUP), Err(ConverterError::Checksum), "all zeros have no checksum of zero");
}

#[test]
fn a_controller_late_by_three_readings_gets_the_newest_two() {
    let board = board();
    let (bus, ready) = board.converter.wires();
    let mut driver = Converter::new(bus, ready, 10);
    driver.set_up(SETUP).unwrap();
    (1..=3).for_each(|n| board.converter.convert([n; 4]));
    let polls: Vec<_> = (0..3).map(|_| driver.poll()).collect();
    assert_eq!(polls, [Ok(Some([2; 4])), Ok(Some([3; 4])), Ok(None)]);
}

#[test]
fn one_lost_reading_in_mid_stroke_withdraws_the_permit() {
    let (simulator, readings) = turns(2);
    let mut board = board();
    let mut controller = Controller::start(&board, core(&simulator));
    controller.core.self_test(Tick(0), true);
    let mut lost_at = None;
    for (stroke, sample) in readings.iter().filter(|(_, sample)| sample.tick > 10) {
        let shown = board.reading(*stroke, sample);
        let frame = controller.frame(sample.tick, shown).unwrap();
        if *stroke == 1 {
            continue;
        }
        if lost_at.is_none() && sample.angle_deg > 170.0 {
            // This frame came in time; the next conversion is lost.
            lost_at = Some(sample.tick + 1);
            board.converter.fail(Fault::ReadyLost(1));
        }
        let Some(frame) = frame else {
            assert_eq!(Some(sample.tick), lost_at);
            continue;
        };
        let permit = controller.core.step(&frame).permit;
        assert_eq!(permit, lost_at.is_none_or(|lost| sample.tick < lost), "tick {}", sample.tick);
    }
    assert!(lost_at.is_some());
}

#[test]
fn counts_that_the_encoder_loses_show_at_the_next_index() {
    let mut unit = EncoderUnit::new(4096, 1024);
    let mut driver = Encoder::new(4096, 1024).unwrap();
    let mut faults = [0; 6];
    for turn in 0..6_u32 {
        for degree in 0..360_u32 {
            if (turn, degree) == (3, 100) {
                unit.slip(40);
            }
            match driver.step(unit.at(turn, f64::from(degree), true)) {
                CrankReading::Angle(angle) if (turn, degree) < (3, 100) => {
                    // An edge is 0.088°.
                    let off = (f64::from(angle.degrees()) - f64::from(degree)).abs();
                    assert!(off.min(360.0 - off) < 0.09, "turn {turn}, {degree}°: {}", angle.degrees());
                }
                CrankReading::Fault => faults[turn as usize] += 1,
                _ => {}
            }
        }
    }
    // The mark lies a quarter turn before the top, so the first is at 270° of turn 0; the slip at 100° of turn 3
    // shows from 270° on for one turn.
    assert_eq!(faults, [270, 0, 0, 90, 270, 0]);
}

#[test]
fn power_that_fails_at_any_instant_drops_the_relay_until_self_test_has_passed() {
    let (simulator, readings) = turns(2);
    let second: Vec<_> = readings.iter().filter(|(stroke, _)| *stroke == 2).collect();
    for cut in (0..second.len()).step_by(997) {
        let mut board = board();
        let mut controller = Controller::start(&board, core(&simulator));
        // One turn without judging gives the encoder its mark, as inching does.
        for (stroke, sample) in readings.iter().filter(|(stroke, _)| *stroke == 1) {
            let shown = board.reading(*stroke, sample);
            controller.frame(sample.tick, shown).unwrap();
        }
        controller.core.self_test(Tick(0), true);
        let mut began = false;
        for (n, (stroke, sample)) in second.iter().enumerate() {
            if n == cut {
                board.brown_out();
                controller = Controller::start(&board, core(&simulator));
            }
            let shown = board.reading(*stroke, sample);
            let permit = controller.turn(sample.tick, shown);
            if n < cut {
                assert!(permit, "cut at {cut}: refused at {n}");
                began |= board.relay.permits();
            } else {
                assert!(!permit, "cut at {cut}: asked for at {n} without a self-test");
                // The contact takes its frames to fall off.
                assert!(n < cut + 9 || !board.relay.permits(), "cut at {cut}: closed at {n}");
            }
        }
        assert!(began || cut < 10, "the relay had pulled in before {cut}");
    }
}

#[test]
fn a_welded_or_dead_relay_is_found_out() {
    for (fault, pulled_in) in [(RelayFault::Welded, true), (RelayFault::CoilOpen, false)] {
        let mut relay = Relay::new(8);
        let (coil, contact) = relay.wires();
        let mut output = PermitOutput::new(coil, contact, 20);
        let mut run = |relay: &mut Relay, permit: bool| {
            let frames = (0..100).map(|_| {
                relay.step(true);
                output.step(permit)
            });
            frames.collect::<Vec<_>>()
        };
        if pulled_in {
            assert!(run(&mut relay, true).iter().all(Result::is_ok));
            assert!(relay.permits());
        }
        relay.fail(Some(fault));
        let outcome = run(&mut relay, !pulled_in);
        assert_eq!(outcome.iter().position(Result::is_err), Some(20), "{fault:?}");
        assert_eq!(outcome.last(), Some(&Err(PermitFault::NotFollowed)));
    }
}

#[test]
fn the_watchdog_runs_out_when_frames_stop() {
    let dog = Dog::new(30);
    let mut guardian = Guardian::new(dog.clone());
    let (simulator, readings) = turns(1);
    let mut core = core(&simulator);
    let mut sound = readings.iter().map(|(_, sample)| {
        let frame: Frame<4> = frame(sample, CrankInput::Encoder);
        let healthy = core.step(&frame).healthy;
        FrameHealth { tick: frame.tick, fresh: true, healthy, output: Ok(Output::On) }
    });
    for (n, frame) in sound.by_ref().take(200).enumerate() {
        assert!(!dog.step(), "fed at every frame, out at {n}");
        assert!(guardian.step(frame));
    }
    let out = (0..100).position(|_| dog.step());
    assert_eq!(out, Some(29));
    assert!(guardian.step(sound.next().unwrap()));
    assert!(dog.step(), "too late");
}

const WORD: usize = 4;
const PAGE: usize = 1024;

fn open(flash: Flash<WORD, PAGE>) -> Store<Flash<WORD, PAGE>> {
    let page = PAGE as u32;
    let regions = Regions {
        settings: 0..3 * page,
        counters: 3 * page..5 * page,
        journal: 5 * page..8 * page,
        erasures: 8 * page..10 * page,
    };
    block_on(Store::open(flash, regions)).expect("the regions suit the flash")
}

#[test]
fn a_journal_on_this_flash_keeps_every_entry_it_promised_through_a_cut_anywhere() {
    let body = |number: u32| [number as u8; 40];
    let life = |store: &mut Store<Flash<WORD, PAGE>>, from: u32| -> Result<(), (u32, StoreError)> {
        (from..from + 90).try_for_each(|n| block_on(store.append(n, &body(n))).map_err(|why| (n, why)))
    };
    let supply = Supply::default();
    let mut whole = open(Flash::new(10, &supply));
    life(&mut whole, 0).unwrap();
    let operations = whole.into_flash().operations();
    assert!(operations > 900, "{operations}");
    for cut in (0..operations).step_by(5) {
        for torn in [Torn::Untouched, Torn::Half, Torn::Done] {
            let supply = Supply::default();
            let mut store = open(Flash::new(10, &supply));
            supply.fail_after(cut, torn);
            let (under_way, why) = life(&mut store, 0).unwrap_err();
            assert_eq!(why, StoreError::Flash, "cut at {cut}, {torn:?}");
            let flash = store.into_flash();
            supply.restore();
            let mut store = open(flash);
            let next = block_on(store.next_entry()).unwrap();
            assert!(
                next == under_way || next == under_way + 1,
                "cut at {cut}, {torn:?}: {next} of {under_way}"
            );
            life(&mut store, next).unwrap_or_else(|why| panic!("cut at {cut}, {torn:?}: afterwards {why:?}"));
            let mut last = None;
            let seen = |number: u32, bytes: &[u8]| {
                assert_eq!(bytes, body(number));
                assert!(last.is_none_or(|last| number == last + 1));
                last = Some(number);
            };
            block_on(store.entries(seen)).unwrap();
            assert_eq!(last, Some(next + 89), "cut at {cut}, {torn:?}");
        }
    }
}
