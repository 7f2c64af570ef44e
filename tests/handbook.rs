//! What a reader of the README and the handbook copies works: every file, every condition, every command.

use crate::aboard::{Folder, text, verb};
use middlewatch::handbook::CHAPTERS;
use std::path::Path;

fn read(name: &str) -> String {
    std::fs::read_to_string(Path::new(env!("CARGO_MANIFEST_DIR")).join(name)).unwrap()
}

/// README and chapters, each with its name.
fn pages() -> Vec<(String, String)> {
    let chapters = CHAPTERS.iter().map(|c| (c.name.to_owned(), c.text.to_owned()));
    std::iter::once(("README.md".to_owned(), read("README.md"))).chain(chapters).collect()
}

/// The blocks of TOML in a page.
fn snippets(page: &str) -> impl Iterator<Item = &str> {
    page.split("```toml\n").skip(1).filter_map(|rest| rest.split("```").next())
}

#[test]
fn every_file_in_the_handbook_is_good() {
    let folder = Folder::new("snippets");
    // What the snippets name lies beside them.
    folder.write("orders.toml", &read("rules/orders/passage.toml"));
    for secret in ["token", "shore.key"] {
        folder.write(secret, "0123456789abcdef0123456789abcdef\n");
    }
    let mut tried = 0;
    for (name, page) in pages() {
        for snippet in snippets(&page) {
            let versioned = if snippet.contains("version = 1") { "" } else { "version = 1\n" };
            let orders = snippet.contains("[[order]]");
            let file = folder.write("snippet.toml", &format!("{versioned}{snippet}"));
            let out = verb(&["check", if orders { "--orders" } else { "--config" }, file.to_str().unwrap()]);
            assert!(out.status.success(), "{name}:\n{snippet}\n{}{}", text(&out.stdout), text(&out.stderr));
            tried += 1;
        }
    }
    assert!(tried >= 12, "{tried}");
}

#[test]
fn every_condition_in_the_readme_is_an_order() {
    let folder = Folder::new("conditions");
    let readme = read("README.md");
    let table = readme.split("| order | `when` |").nth(1).unwrap().split("\n\n").next().unwrap();
    let mut orders = String::from("version = 1\n");
    let mut tried = 0;
    for row in table.lines().skip(2) {
        let mut cells = row.trim_matches('|').split(" | ").map(str::trim);
        let (name, when) = (cells.next().unwrap(), cells.next().unwrap().trim_matches('`'));
        let each = if when.contains("CPA") || when.contains("contact") { "each = \"target\"\n" } else { "" };
        orders += &format!(
            "[[order]]\nname = \"{name}\"\n{each}priority = \"warning\"\nwhen = {when}\ntext = \"{name}\"\n"
        );
        tried += 1;
    }
    assert_eq!(tried, 10);
    let file = folder.write("orders.toml", &orders);
    let out = verb(&["check", "--orders", file.to_str().unwrap()]);
    assert!(out.status.success(), "{orders}\n{}{}", text(&out.stdout), text(&out.stderr));
}

/// The commands of a page: indented lines and pieces of code that begin with the program's name.
fn commands(page: &str) -> Vec<String> {
    let indented = page.lines().filter_map(|l| l.strip_prefix("    "));
    let ours = |c: &str| {
        let c = c.trim_start_matches("$ ");
        c.strip_prefix("middlewatch ").map(|c| c.split("  #").next().unwrap().trim().to_owned())
    };
    let prose: String = page.split("```").step_by(2).collect();
    let inline: Vec<String> = prose.split('`').skip(1).step_by(2).filter_map(ours).collect();
    indented.filter_map(ours).chain(inline).collect()
}

#[test]
fn every_command_in_the_handbook_is_one() {
    let mut tried = 0;
    for (name, page) in pages() {
        for command in commands(&page) {
            let plain = command.replace('"', "");
            // With --help behind it, a command is read and not done: a wrong verb or option comes first.
            let words: Vec<&str> = plain.split_whitespace().chain(["--help"]).collect();
            let out = verb(&words);
            assert!(out.status.success(), "{name}: middlewatch {command}\n{}", text(&out.stderr));
            tried += 1;
        }
    }
    assert!(tried >= 25, "{tried}");
    assert!(!verb(&["status", "--no-such-thing", "--help"]).status.success(), "the check can fail");
}

#[test]
fn the_readme_is_short_and_names_every_chapter() {
    let readme = read("README.md");
    assert!(readme.lines().count() <= 150, "{} lines", readme.lines().count());
    for chapter in CHAPTERS {
        let row = format!("- [{0}](daemon/handbook/{0}.md): {1}", chapter.name, chapter.about);
        assert!(readme.lines().any(|l| l == row), "{row}");
    }
}

#[test]
fn help_shows_chapters_and_verbs() {
    let contents = text(&verb(&["help"]).stdout);
    for chapter in CHAPTERS {
        assert!(contents.contains(chapter.about), "{contents}");
        let out = verb(&["help", chapter.name]);
        assert!(out.status.success() && text(&out.stdout).starts_with(chapter.text), "{}", chapter.name);
    }
    let verb_only = text(&verb(&["help", "stand-down"]).stdout);
    assert!(verb_only.contains("--reason") && verb_only.contains("middlewatch stand-down"), "{verb_only}");
    let both = text(&verb(&["help", "departure"]).stdout);
    assert!(both.contains("middlewatch departure --help"), "{both}");
    let unknown = verb(&["help", "knitting"]);
    assert_eq!(unknown.status.code(), Some(2));
    assert!(text(&unknown.stderr).contains("wires"), "{}", text(&unknown.stderr));
}

/// Every line of text of a chapter is in its manual page, in its order.
#[test]
fn every_chapter_has_a_manual_page() {
    let folder = Folder::new("manual");
    assert!(verb(&["pages", folder.0.to_str().unwrap()]).status.success());
    for chapter in CHAPTERS {
        let page = std::fs::read_to_string(folder.0.join(format!("{}.7", chapter.page()))).unwrap();
        assert!(page.contains(".SH NAME") && page.contains(".SH DESCRIPTION"), "{page}");
        let letters = |t: &str| t.chars().filter(char::is_ascii_alphabetic).collect::<String>();
        let shown = letters(&page.replace("\\fB", "").replace("\\fR", "").replace("\\*(Aq", ""));
        for line in
            chapter.text.lines().filter(|l| l.starts_with("    ") || l.starts_with(char::is_lowercase))
        {
            assert!(shown.contains(&letters(line)), "{}: {line}\n{page}", chapter.name);
        }
    }
}

#[test]
fn everything_that_has_a_name_is_explained() {
    let all = middlewatch::explain::all();
    let silent: Vec<_> = all.iter().filter(|e| e.meaning.trim_matches(['.', ' ']).is_empty()).collect();
    assert!(silent.is_empty(), "{silent:?}");
    for kind in [
        "quantity",
        "key of boat.toml",
        "key of an orders file",
        "field of a record",
        "figure of GET /metrics",
    ] {
        assert!(all.iter().filter(|e| e.kind == kind).count() > 8, "{kind}");
    }
    // The program of a signal gets just these.
    let source = read("daemon/signals/command.rs");
    let names: Vec<&str> =
        source.split(".env(\"").skip(1).map(|rest| rest.split('"').next().unwrap()).collect();
    let told: Vec<&str> = middlewatch::explain::ENVIRONMENT.iter().map(|(name, _)| *name).collect();
    assert_eq!(names.iter().collect::<std::collections::BTreeSet<_>>(), told.iter().collect());
}

#[test]
fn explain_answers_by_name_by_last_word_and_with_the_nearest() {
    let said = |word: &str| text(&verb(&["explain", word]).stdout);
    assert!(
        said("CPA").contains("closest point of approach") && said("cpa").contains("nm"),
        "{}",
        said("CPA")
    );
    for word in ["feed.silent_after", "silent_after"] {
        assert!(said(word).starts_with("feed.silent_after (key of boat.toml): "), "{}", said(word));
    }
    assert!(said("fix lost").contains("Warning"), "{}", said("fix lost"));
    assert!(said("Status.feeds").contains("field of a record"), "{}", said("Status.feeds"));
    let wrong = verb(&["explain", "dept below keel"]);
    assert_eq!(wrong.status.code(), Some(1));
    assert!(text(&wrong.stderr).contains("Did you mean \"depth below keel\"?"), "{}", text(&wrong.stderr));
    let whole = text(&verb(&["explain"]).stdout);
    assert!(whole.lines().all(|l| l.chars().count() <= 80 || !l.contains(' ')), "80 columns");
    for kind in ["QUANTITY", "BUILT-IN ALERT", "FIELD OF A RECORD", "EXIT CODE"] {
        assert!(whole.contains(kind), "{kind}");
    }
}

/// The whole demo, hastened ten times more than a crew would: twelve seconds.
#[test]
fn the_demo_plays_its_night_through_a_watch() {
    let folder = Folder::new("played");
    let port = std::net::TcpListener::bind("127.0.0.1:0").unwrap().local_addr().unwrap().port();
    let out = crate::aboard::middlewatch()
        .args(["demo", "--silent", "--rate", "600", "--port", &port.to_string()])
        .env("TMPDIR", &folder.0)
        .output()
        .unwrap();
    let (said, told) = (text(&out.stdout), text(&out.stderr));
    assert!(out.status.success(), "{said}{told}");
    assert!(told.contains("Tobias overboard") && told.contains("stood down, recovered"), "{told}");
    let review = said.lines().find_map(|l| l.trim().strip_prefix("middlewatch ")).expect(&said);
    let out = verb(&review.split_whitespace().collect::<Vec<_>>());
    assert!(text(&out.stdout).contains("overboard: Tobias"), "{}{}", text(&out.stdout), text(&out.stderr));
}

#[test]
fn a_first_run_without_a_file_says_what_to_do() {
    let folder = Folder::new("first");
    let out = verb(&["run", "--config", folder.0.join("boat.toml").to_str().unwrap()]);
    assert_eq!(out.status.code(), Some(78));
    let said = text(&out.stderr);
    assert!(said.lines().count() <= 4, "{said}");
    for step in ["check --live --write boat.toml", "run --config boat.toml", "middlewatch demo"] {
        assert!(said.contains(step), "{said}");
    }
}
