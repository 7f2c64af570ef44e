//! What goes wrong aboard, caused on the built binary: after each fault the watch stands, the right alert was raised,
//! and nothing that was stored is lost. DEVELOPERS.md lists the faults and where each is caused.

#![allow(clippy::unwrap_used, clippy::expect_used, reason = "a test stops where its footing is missing")]

mod aboard;

use aboard::uart::Talker;
use aboard::{Daemon, sentence};

fn fix() -> String {
    sentence("GPRMC,021407.00,A,5048.000,N,00106.000,W,5.0,090.0,011126,,,A")
}

#[test]
fn a_line_at_the_wrong_speed_is_silent_and_the_alert_says_that_bytes_come() {
    let line = Talker::start(&fix(), 4800);
    // The watch looks at its feeds every ten seconds, so that two looks are behind it when the line is called silent.
    let daemon = Daemon::start(
        "speed",
        &format!(
            "[[feed]]\nname = \"gps\"\nserial = {:?}\nbaud = 38400\nsilent_after = \"21 s\"\n\
             [[feed]]\nname = \"ais\"\nserial = \"/nowhere/ais\"\nsilent_after = \"21 s\"\n",
            line.path
        ),
    );
    let told = |feed: &str| {
        aboard::until("the alert", || {
            let status = daemon.status();
            let alerts = status["alerts"].as_array()?.iter().filter(|a| a["order"] == "feed silent");
            alerts.filter_map(|a| a["text"].as_str()).find(|t| t.starts_with(feed)).map(str::to_owned)
        })
    };
    let text = told("gps");
    assert!(text.contains("Bytes come, but no whole sentence: the speed of the line may be wrong"), "{text}");
    let text = told("ais");
    assert!(text.contains("It cannot be opened"), "{text}");
    assert_eq!(daemon.status()["feeds"][0]["sentences"], 0);
}
