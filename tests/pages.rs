//! The manual pages and completions that are packed.

use crate::aboard::{Folder, text, verb};

#[test]
fn every_verb_has_a_page_and_a_completion() {
    let folder = Folder::new("pages");
    assert!(verb(&["pages", folder.0.to_str().unwrap()]).status.success());
    let read = |name: &str| std::fs::read_to_string(folder.0.join(name)).unwrap();
    let help = text(&verb(&["--help"]).stdout);
    let commands = help.split("Commands:\n").nth(1).unwrap().split("\n\n").next().unwrap();
    let indented = commands.lines().filter(|l| l.starts_with("  ") && !l.starts_with("   "));
    let verbs: Vec<&str> =
        indented.filter_map(|l| l.split_whitespace().next()).filter(|v| *v != "help").collect();
    assert!(verbs.len() >= 18 && verbs.contains(&"stand-down"), "{verbs:?}");
    let (whole, bash, zsh, fish) =
        (read("middlewatch.1"), read("middlewatch.bash"), read("_middlewatch"), read("middlewatch.fish"));
    for verb in verbs {
        let page = read(&format!("middlewatch-{verb}.1"));
        assert!(page.contains(".SH NAME") && page.contains(".SH SYNOPSIS"), "{page}");
        assert!(whole.contains(&format!("middlewatch\\-{}(1)", verb.replace('-', "\\-"))), "{verb}: {whole}");
        for completion in [&bash, &zsh, &fish] {
            assert!(completion.contains(verb), "{verb}");
        }
    }
    if let Ok(out) =
        std::process::Command::new("bash").arg("-n").arg(folder.0.join("middlewatch.bash")).output()
    {
        assert!(out.status.success(), "{}", text(&out.stderr));
    }
}
