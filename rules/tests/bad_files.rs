//! One bad file for each message: `fixtures/orders/NAME.toml`, and beside it in `NAME.txt` what must be said.
//! The files are made for this test. With `WRITE_EXPECTED` set, the texts are written instead of compared; read
//! the difference before committing it.

use rules::Orders;
use std::fs;
use std::path::Path;

#[test]
fn each_bad_file_gives_its_message() {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("../fixtures/orders");
    let mut wrong = Vec::new();
    let mut seen = 0;
    for entry in fs::read_dir(&folder).unwrap() {
        let path = entry.unwrap().path();
        if path.extension().is_none_or(|e| e != "toml") {
            continue;
        }
        let name = path.file_name().unwrap().to_str().unwrap();
        let text = fs::read_to_string(&path).unwrap();
        let said = match Orders::read(name, &text) {
            Ok(orders) => match orders.run_trials() {
                Ok(_) => "no problem was found\n".to_owned(),
                Err(problems) => format!("{problems}\n"),
            },
            Err(problems) => format!("{problems}\n"),
        };
        let beside = path.with_extension("txt");
        if std::env::var_os("WRITE_EXPECTED").is_some() {
            fs::write(&beside, &said).unwrap();
        }
        let expected = fs::read_to_string(&beside).unwrap_or_default();
        if said != expected || said.starts_with("no problem") {
            wrong.push(format!("{name}\nexpected:\n{expected}\nsaid:\n{said}"));
        }
        seen += 1;
    }
    assert!(seen > 120, "only {seen} bad files");
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

#[test]
fn the_reference_is_a_file_of_orders() {
    let text = Orders::reference().to_string();
    let orders = Orders::read("x", &text).unwrap_or_else(|p| panic!("{p}\nin\n{text}"));
    assert_eq!((orders.len(), text.matches("\n[[mark]]").count()), (1, 1), "{text}");
    for line in [
        "\n[[order]] # something that you want to be called for",
        "patience = \"10 min\" # how long its values may be missing before that is announced; from 0 s to 30 d; default 10 min\n",
        "\n[[trial.steps]] # what happens, and what must stand",
    ] {
        assert!(text.contains(line), "{line} is not in\n{text}");
    }
}
