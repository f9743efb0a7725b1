//! A whole shop in one console for a moment: nothing is lost. How fast and how large it is, `console_load` measures.

use std::sync::Arc;
use std::time::Duration;

use bolster::console::store::Store;

use crate::client::Follower;
use crate::server::Console;
use crate::shop::{Load, Seen, Shop};

#[test]
fn sixty_four_presses_at_120_strokes_a_minute_lose_no_stroke_on_any_page() {
    let folder = tempfile::tempdir().unwrap();
    let store = Arc::new(Store::open(folder.path()).unwrap());
    let load = Load { presses: 64, spm: 120.0, strokes: 12 };
    let shop = Shop::open(&store, &load);
    let console = Console::serve(folder, Arc::clone(&store), shop.statuses.clone());
    let pages: Vec<_> = (0..4)
        .map(|_| {
            let mut page = Follower::new(console.address, "/live?after=0", None).unwrap();
            std::thread::spawn(move || {
                let mut seen = Seen::default();
                while seen.strokes < load.all() {
                    let event = page.next(Duration::from_secs(60)).expect("more strokes come");
                    seen.take(&serde_json::from_str(&event.data).unwrap()).unwrap();
                }
                seen.strokes
            })
        })
        .collect();
    for page in pages {
        assert_eq!(page.join().unwrap(), load.all());
    }
    shop.close();
    assert_eq!(console.strokes().len() as u64, load.all());
}
