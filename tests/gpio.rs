//! The real way to a GPIO chip, up to the kernel's door: a shim plays the character device (tests/shim/gpio.c).

use crate::aboard::{Daemon, Folder, shim, until};
use std::fs::OpenOptions;
use std::io::Write;
use std::path::Path;
use std::time::Duration;

/// gpiocdev takes a path of this form for a chip without looking at it more closely.
const CHIP: &str = "/dev/gpiochip9";

/// Gone when it is dropped.
struct Chip;

impl Drop for Chip {
    fn drop(&mut self) {
        let _ = std::fs::remove_file(CHIP);
    }
}

/// Levels an output has had.
fn levels(folder: &Folder, line: u32) -> Vec<u8> {
    let text = std::fs::read_to_string(folder.0.join(format!("out-{line}"))).unwrap_or_default();
    text.lines().filter_map(|l| l.parse().ok()).collect()
}

/// An edge as the kernel hands it out (linux/gpio.h, struct gpio_v2_line_event).
fn edge(line: u32, rising: bool, n: u32) -> Vec<u8> {
    let mut event = Vec::new();
    event.extend(u64::from(n).to_ne_bytes());
    event.extend(u32::from(if rising { 1u8 } else { 2 }).to_ne_bytes());
    event.extend(line.to_ne_bytes());
    event.extend([n.to_ne_bytes(), n.to_ne_bytes()].concat());
    event.resize(48, 0);
    event
}

#[test]
#[ignore = "needs a C compiler, and root to put a file under /dev"]
fn a_button_and_a_buzzer_through_the_character_device() {
    let folder = Folder::new("gpio");
    let shim = shim("gpio", &folder.0);
    assert!(!Path::new(CHIP).exists(), "there is a real one; it is left alone");
    std::fs::write(CHIP, "").unwrap();
    let _chip = Chip;
    nix::unistd::mkfifo(&folder.0.join("in-5"), nix::sys::stat::Mode::S_IRWXU).unwrap();
    // The sense line is high while the buzzer is heard; here it always is.
    std::fs::write(folder.0.join("level-6"), "1").unwrap();
    let boat = format!(
        "[[signal]]\nname = \"horn\"\nbuzzer = {{ chip = {CHIP:?}, line = 4, active_low = true }}\n\
         sense = {{ chip = {CHIP:?}, line = 6 }}\n\
         [[button]]\nname = \"rail\"\nline = {{ chip = {CHIP:?}, line = 5 }}\ndoes = \"overboard\"\nhold = \"0.5 s\"\n\
         [heartbeat]\nline = {{ chip = {CHIP:?}, line = 7 }}\n"
    );
    let path = folder.0.clone();
    let daemon = Daemon::start_preloaded(
        folder,
        &boat,
        &[("LD_PRELOAD", shim.as_path()), ("GPIO_SHIM", path.as_path())],
    );
    until("the buzzer's line to be taken", || (levels(&daemon.folder, 4) == [1]).then_some(()));
    until("the heart to beat", || (levels(&daemon.folder, 7).len() > 2).then_some(()));
    let mut pipe = OpenOptions::new().write(true).open(daemon.folder.0.join("in-5")).unwrap();
    // A bounce, then held.
    for (n, rising) in [(1, true), (2, false), (3, true)] {
        pipe.write_all(&edge(5, rising, n)).unwrap();
        std::thread::sleep(Duration::from_millis(5));
    }
    until("the casualty", || daemon.status()["casualties"][0]["id"].as_u64());
    // Low is active: the line falls with each tone.
    let heard = until("the pattern", || Some(levels(&daemon.folder, 4)).filter(|l| l.len() > 6));
    assert_eq!(heard[..5], [1, 0, 1, 0, 1]);
    // The pauses were seen as sound by the sense line, which always says so.
    let alert = daemon.alert("signal failing");
    assert!(alert["text"].as_str().unwrap().contains("/dev/gpiochip9 line 4"), "{alert}");
    pipe.write_all(&edge(5, false, 4)).unwrap();
    let folder = daemon.stop();
    assert_eq!(levels(&folder, 4).last(), Some(&1), "silent when the daemon is gone");
}
