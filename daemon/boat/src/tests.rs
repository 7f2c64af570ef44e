//! Whole files: every mistake at once, the warnings, and the reference.

use super::*;
use std::time::Duration;
use terms::Mmsi;

/// The mistakes in a file, or else its warnings.
fn told(text: &str) -> String {
    read("boat.toml", text).map_or_else(|p| p.to_string(), |(_, odd)| odd.to_string())
}

#[test]
fn all_problems_of_a_file_at_once() {
    let text = "version = 1\n[vessel]\nmmsi = \"12\"\n[[feed]]\nname = \"a\"\nserial = \"/dev/x\"\nbuad = 4800\n\
                [[feed]]\nname = \"b\"\n[[signal]]\nname = \"s\"\nwebhook = \"ftp://x\"\n[logbok]\npath = \"x\"\n";
    let told = told(text);
    for part in [
        "boat.toml:3:8: `mmsi` takes an identity: nine digits in quotes",
        "boat.toml:7:1: `buad` is not known here; did you mean `baud`?",
        "boat.toml:9:8: a feed has exactly one of",
        "boat.toml:12:11: ",
        "boat.toml:13:2: `logbok` is not known here; did you mean `logbook`?",
    ] {
        assert!(told.contains(part), "{part} is not in\n{told}");
    }
}

#[test]
fn six_mistakes_in_two_tables_are_six_messages() {
    let text = "version = 1\n[vessel]\ndraught_m = \"deep\"\nmmsi = 211000001\nmasthead_m = 0\n\
                [[feed]]\nname = 7\nserial = \"/dev/x\"\nbaud = \"fast\"\nsilent_after = \"60\"\n";
    let told = told(text);
    for part in [
        "boat.toml:3:13: `draught_m` takes a number, from 0 to 20, not a text",
        "boat.toml:4:8: `mmsi` takes an identity: nine digits in quotes",
        "boat.toml:5:14: `masthead_m` is from 1 to 60, not 0",
        "boat.toml:7:8: `name` takes a name in quotes, on one line, not a number",
        "boat.toml:9:8: `baud` takes a whole number, from 300 to 4000000, not a text",
        "boat.toml:10:16: `silent_after` takes a length of time",
    ] {
        assert!(told.contains(part), "{part} is not in\n{told}");
    }
    let errors = told.lines().filter(|l| l.starts_with("boat.toml:") && !l.contains(": warning: "));
    assert_eq!(errors.count(), 6, "{told}");
}

#[test]
fn a_file_of_another_version_is_refused_with_what_to_do_and_one_without_is_the_first() {
    assert!(read("boat.toml", "[vessel]\nname = \"Wendelin\"\n").is_ok());
    let newer = told("version = 2\n[new]\nkey = 1\n");
    assert!(newer.contains("boat.toml:1:11: the file is of version 2, for a newer middlewatch"), "{newer}");
    assert!(newer.contains("Install the newer program") && !newer.contains("`new`"), "{newer}");
    let older = told("version = 0\n");
    assert!(older.contains("there never was a version 0"), "{older}");
}

#[test]
fn a_boat_is_read() {
    let text = "version = 1\n[vessel]\nname = \"Wendelin\"\nmmsi = \"211000001\"\n[[crew]]\nname = \"Ada\"\nbeacon = \"972000001\"\n\
        [[feed]]\nname = \"bus\"\nserial = \"/dev/ttyUSB0\"\nbaud = 38400\nsilent_after = \"1 h 30 min\"\n\
        [[feed]]\nname = \"net\"\nudp = \"0.0.0.0:60001\"\ngroup = \"239.192.0.4\"\n\
        [[signal]]\nname = \"horn\"\ncommand = [\"aplay\", \"x.wav\"]\nfrom = \"emergency alarm\"\n\
        [watch]\nskipper = \"Ada\"\nroster = [{ who = \"Ada\", hours = \"20:00 to 00:00\" }]\n\
        alarm = { dormant_period = \"12 min\", reset_from = [\"helm\"], during = [\"under sail\"], hours = [\"20:00 to 08:00\"] }\n\
        [[button]]\nname = \"helm\"\nline = { recorded = \"helm\" }\ndoes = \"reset\"\n";
    let (boat, _) = read("boat.toml", text).unwrap();
    assert_eq!(boat.feeds[0].source, Connection::Serial { path: "/dev/ttyUSB0".into(), baud: 38400 });
    assert_eq!(boat.feeds[0].silent_after, Some(Duration::from_secs(5400)));
    assert_eq!(boat.feeds[1].silent_after, None);
    assert_eq!(boat.signals[0].audience.priorities, [rules::Priority::EmergencyAlarm]);
    assert_eq!(boat.crew[0].beacon, Mmsi::new(972_000_001));
    let evening = terms::Utc::from_date(2026, 11, 1, 21 * 3_600_000).unwrap();
    assert_eq!(boat.watch.roster.present(evening).unwrap().who, "Ada");
    assert!(boat.watch.watch_alarm.unwrap().resets_from("helm"));
    assert_eq!((boat.buttons[0].hold, boat.buttons[0].debounce), (Duration::ZERO, Duration::from_millis(30)));
}

#[test]
fn rotating_watches_are_read_and_go_in_place_of_a_roster() {
    let rotation = "[watch.rotation]\npeople = [\"Ada\", \"Bo\", \"Cy\"]\nwatches = [\"4 h\", \"4 h\", \"4 h\", \"4 h\", \
        \"4 h\", \"2 h\", \"2 h\"]\nfrom_day = 2026-11-01\nfrom = \"20:00\"\n";
    let boat = read("boat.toml", &format!("version = 1\n{rotation}")).unwrap().0;
    let who = |day, hour: i64| {
        let at = terms::Utc::from_date(2026, 11, day, hour * 3_600_000).unwrap();
        boat.watch.roster.present(at).map(|p| p.who)
    };
    assert_eq!(who(1, 19), None);
    // Ada, Bo, Cy, Ada, Bo, and the dogs of Cy and Ada; the next day begins with Bo.
    for (day, hour, name) in [(1, 20, "Ada"), (2, 0, "Bo"), (2, 17, "Cy"), (2, 18, "Ada"), (2, 20, "Bo")] {
        assert_eq!(who(day, hour).as_deref(), Some(name), "{day} {hour}:00");
    }
    for (rotation, why) in [
        (rotation.replace("[\"Ada\", \"Bo\", \"Cy\"]", "[]"), "`people` is empty"),
        (rotation.replace("\"20:00\"", "\"24:00\""), "`from` takes a time of the day such as \"22:30\""),
        (rotation.replace("2026-11-01", "\"soon\""), "`from_day` takes a day such as 2027-05-31"),
        (
            format!("[watch]\nroster = [{{ who = \"Ada\", hours = \"20:00 to 00:00\" }}]\n{rotation}"),
            "the watch goes by a `roster` or a `rotation`, not by both",
        ),
    ] {
        let wrong = read("boat.toml", &format!("version = 1\n{rotation}")).unwrap_err().to_string();
        assert!(wrong.contains(why), "{wrong}");
    }
}

#[test]
fn every_relative_path_begins_at_the_folder_of_the_file() {
    let text = "[[feed]]\nname = \"a\"\nfile = \"a.nmea\"\n[orders]\npath = \"o.toml\"\n\
        [logbook]\npath = \"l.db\"\nsentences = \"s\"\n[control]\npath = \"c\"\nlisten = \"0.0.0.0:81\"\ntoken_file = \"t\"\n\
        [heartbeat]\nline.recorded = \"h\"\n[[signal]]\nname = \"x\"\nwebhook = \"http://x\"\n\
        signature = { key_id = \"k\", secret_file = \"k.key\" }\n";
    let (boat, _) = read("aboard/boat.toml", text).unwrap();
    let Means::Webhook(w) = &boat.signals[0].means else { panic!("a webhook") };
    let paths = [
        boat.orders.unwrap(),
        boat.logbook.unwrap(),
        boat.sentences.unwrap().folder,
        boat.control.unwrap(),
        boat.listen.unwrap().token_file.unwrap(),
        w.key.clone().unwrap().path,
    ];
    assert_eq!(paths, ["o.toml", "l.db", "s", "c", "t", "k.key"].map(|p| Path::new("aboard").join(p)));
    assert_eq!(boat.feeds[0].source, Connection::File("aboard/a.nmea".into()));
    assert_eq!(boat.heartbeat, Some(GpioLine::Recorded("aboard/h".into())));
}

#[test]
fn old_spellings_are_refused_with_how_it_is_written_now() {
    let told = told(
        "[watch]\nroster = [{ who = \"Ada\", from = \"20:00\", to = \"00:00\" }]\n\
         alarm = { dormant_period = \"12 min\", reset_from = [\"helm\"], hours = [[\"20:00\", \"08:00\"]] }\n",
    );
    for part in [
        "boat.toml:2:11: `hours` is missing",
        "boat.toml:2:26: `from` is no longer a key; write hours = \"20:00 to 00:00\"",
        "boat.toml:2:42: `to` is no longer a key",
        "boat.toml:3:70: `hours` takes hours of the day such as \"22:00 to 06:00\", not a list",
    ] {
        assert!(told.contains(part), "{part} is not in\n{told}");
    }
}

#[test]
fn what_is_odd_is_a_warning_at_its_place() {
    let signal = "[[signal]]\nname = \"voice\"\ncommand = [\"say\"]\n";
    let feed = "[[feed]]\nname = \"bus\"\nserial = \"/dev/x\"\n";
    for (text, odd) in [
        (signal.to_owned(), "1:1: warning: there is no [[feed]]: nothing is heard"),
        (feed.to_owned(), "1:1: warning: there is no [[signal]]: nobody hears an alarm"),
        (
            format!("{feed}baud = 38000\n{signal}"),
            "4:8: warning: 38000 is an unusual speed of a serial line; did you mean 38400?",
        ),
        (
            format!("{feed}{signal}[[signal]]\nname = \"x\"\nnmea = \"serial:/dev/y@5000\"\n"),
            "9:8: warning: 5000 is an unusual speed",
        ),
        (
            format!("{feed}[[signal]]\nname = \"x\"\nwebhook = \"http://x\"\n"),
            "4:1: warning: webhooks make no sound aboard",
        ),
        (
            format!("{feed}[[signal]]\nname = \"x\"\nlamp.recorded = \"x\"\n"),
            "4:1: warning: no command, buzzer or relay carries every emergency alarm to the watch",
        ),
        (
            format!("{feed}{signal}reaches = \"skipper\"\n"),
            "4:1: warning: no command, buzzer or relay carries every",
        ),
        (format!("{feed}{signal}priorities = [\"emergency alarm\"]\n"), "carries every alarm to the watch"),
        (
            format!("{feed}{signal}from = \"alarm\"\nrest = \"22:00 to 06:00\"\n"),
            "8:8: warning: it rests from nothing",
        ),
        (
            format!(
                "{feed}{signal}[[crew]]\nname = \"Ada\"\nbeacon = \"972000001\"\n[[crew]]\nname = \"Bo\"\n"
            ),
            "11:8: warning: everybody else has a `beacon`",
        ),
        (
            format!("{feed}{signal}[[crew]]\nname = \"Ada\"\n[watch]\nskipper = \"Bo\"\n"),
            "10:11: warning: no [[crew]] is called \"Bo\"",
        ),
        (
            format!(
                "{feed}{signal}[watch]\nalarm = {{ dormant_period = \"20 min\", reset_from = [\"helm\"] }}\n"
            ),
            "8:28: warning: the standard",
        ),
        (
            format!("{feed}{signal}[[button]]\nname = \"helm\"\nline.recorded = \"h\"\ndoes = \"reset\"\n"),
            "10:8: warning: it resets nothing",
        ),
        (format!("{feed}simulator = true\n{signal}"), "4:13: warning: what a simulator makes up"),
        (
            format!("{feed}{signal}[vessel]\ntransducer_depth_m = 2\ndraught_m = 1.9\n"),
            "8:22: warning: the transducer would be below the keel",
        ),
    ] {
        let (_, warnings) = read("b", &text).unwrap();
        assert_eq!(warnings.list().len(), 1, "{text}{warnings}");
        assert!(warnings.to_string().contains(odd), "{odd} is not in\n{warnings}");
    }
    for quiet in [
        format!("{feed}{signal}"),
        format!("{feed}{signal}[[crew]]\nname = \"Ada\"\n[[crew]]\nname = \"Bo\"\n"),
    ] {
        assert_eq!(told(&quiet), "");
    }
}

#[test]
fn the_reference_has_every_key_with_its_default_and_is_toml() {
    let text = reference().to_string();
    for line in [
        "version = 1 # the version of the file's form; default 1\n",
        "[vessel] # own vessel\n",
        "[[watch.roster]] # a daily watch; at most 48\n",
        "[signal.buzzer] # a buzzer or horn on a GPIO line",
        "silent_after = \"1 h 30 min\" # silence that raises an alert; default: judged",
        "path = \"/var/lib/middlewatch/logbook.db\" # the logbook file; default /var/lib/middlewatch/logbook.db\n",
        "dimensions_m = [9.5, 2.5, 1.5, 2] # from the GPS antenna to bow, stern, port and starboard side\n",
        "command = [\"espeak-ng\", \"--stdin\"] # a program and its arguments",
    ] {
        assert!(text.contains(line), "{line} is not in\n{text}");
    }
    // The reference lists alternatives side by side and repeats some lines; nothing else is wrong.
    let told = told(&text);
    for line in told.lines().filter(|l| l.starts_with("boat.toml:") && !l.contains(": warning: ")) {
        let known = [
            "exactly one of",
            "already",
            "a line is",
            "both",
            "gear has",
            "which has it open",
            "not known here",
        ];
        assert!(known.iter().any(|k| line.contains(k)), "{line}\n{text}");
    }
}

#[test]
fn the_battery_is_of_lead_unless_the_file_says_otherwise() {
    use terms::BatteryKind;
    let of = |text: &str| {
        let (boat, _) =
            read("boat.toml", &format!("version = 1\n[vessel]\nname = \"Wendelin\"\n{text}")).unwrap();
        lookout_settings(&boat, None).battery
    };
    assert_eq!(of(""), BatteryKind::Lead);
    for kind in BatteryKind::ALL {
        assert_eq!(of(&format!("battery = \"{kind}\"\n")), kind);
    }
    let wrong = read("boat.toml", "version = 1\n[vessel]\nbattery = \"tin\"\n").unwrap_err().to_string();
    assert!(wrong.contains("boat.toml:3:11: `battery`") && wrong.contains("lifepo4"), "{wrong}");
}
