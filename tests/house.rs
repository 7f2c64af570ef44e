//! The house rules that the compiler does not hold: who may import whom, what a pure crate must not touch, and how long a
//! file may be. Who adds a crate or a room adds a line to the tables here.

use std::collections::{BTreeMap, BTreeSet};
use std::path::{Path, PathBuf};

/// The crates of the workspace below the shell, each in its folder, and what each may depend on. All are pure. A crate
/// stands below those that depend on it, so that no circle can be written down.
const CRATES: &str = "
    daemon/terms:
    daemon/form: terms
    daemon/sentence: terms
    daemon/lookout: sentence terms
    daemon/scenario: form sentence terms
    rules: form terms
    daemon/record: lookout rules terms
    daemon/boat: form lookout record rules terms
    daemon/watch: boat form lookout record rules scenario sentence terms
";

/// Who opens something for reading without the room `files`, and why that is no file which a person named.
const OPENERS: &[(&str, &str)] = &[
    ("daemon/gpio.rs", "a pipe is opened at both ends, for writing"),
    (
        "daemon/logbook/anew.rs",
        "the new logbook and its folder are synced, the log of SQLite beside it is looked at, its index mended",
    ),
    ("daemon/logbook/copy.rs", "the copy just made and its folder are synced"),
    ("daemon/logbook/pages.rs", "a spoilt logbook is read page by page, without waiting for what is no file"),
];

/// The rooms of the shell, a file or a folder of daemon/ each, and what each may import of the others. A room stands
/// below those that import it.
const ROOMS: &str = "
    files:
    handbook:
    clock: files
    logbook: clock
    outcome:
    window:
    status: window
    departure: logbook window
    diagnostics: clock
    feeds: clock files
    gpio: clock files
    recording: clock
    review: logbook outcome
    service: clock
    ports: clock feeds files
    signals: clock feeds files gpio logbook
    control: clock feeds files gpio signals
    check: control feeds files outcome ports signals
    explain: control outcome
    quick: check outcome
    listen: check clock control feeds files outcome
    replay: check files logbook outcome recording review
    run: check clock control departure diagnostics feeds files logbook outcome recording service signals
    demo: clock control outcome replay run
    cli: check clock control demo departure explain handbook listen outcome quick replay review run status window
";

/// The most lines a file may have.
const LONGEST: usize = 500;

/// Files that are longer still, and how long. The list only shrinks.
const LONGER: &[(&str, usize)] = &[];

/// The lines of a table, each with the names it may know, which stand above it.
fn table(text: &'static str) -> Vec<(&'static str, Vec<&'static str>)> {
    let lines = text.lines().filter_map(|l| l.trim().split_once(':'));
    let table: Vec<_> = lines.map(|(name, may)| (name, may.split_whitespace().collect::<Vec<_>>())).collect();
    let mut above = BTreeSet::new();
    for (name, may) in &table {
        let wrong: Vec<_> = may.iter().filter(|m| !above.contains(*m)).collect();
        assert!(wrong.is_empty(), "{name} may know {wrong:?}, which must stand above it");
        above.insert(name.rsplit('/').next().unwrap());
    }
    table
}

/// The folders of the pure crates.
fn pure_crates() -> impl Iterator<Item = PathBuf> {
    table(CRATES).into_iter().map(|(folder, _)| root().join(folder))
}

fn root() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}

fn read(path: impl AsRef<Path>) -> String {
    let path = root().join(path);
    std::fs::read_to_string(&path).unwrap_or_else(|e| panic!("{}: {e}", path.display()))
}

fn entries(folder: &Path) -> Vec<PathBuf> {
    let mut all: Vec<PathBuf> = std::fs::read_dir(folder).unwrap().map(|e| e.unwrap().path()).collect();
    all.sort();
    all
}

/// All Rust files below a folder, or the file itself.
fn sources(path: &Path) -> Vec<PathBuf> {
    if path.is_dir() {
        let built = |p: &PathBuf| p.file_name().is_some_and(|n| n == "target" || n == ".git");
        entries(path).into_iter().filter(|p| !built(p)).flat_map(|p| sources(&p)).collect()
    } else {
        Vec::from_iter(path.extension().is_some_and(|e| e == "rs").then(|| path.to_owned()))
    }
}

fn is_name(c: char) -> bool {
    c.is_alphanumeric() || c == '_'
}

/// The first names behind each `start` (`crate::`) of a text, those of `crate::{a, b::c}` too.
fn names<'t>(text: &'t str, start: &str) -> Vec<&'t str> {
    let mut found = Vec::new();
    for (at, _) in text.match_indices(start) {
        if text[..at].ends_with(is_name) {
            continue;
        }
        let rest = &text[at + start.len()..];
        let Some(group) = rest.strip_prefix('{') else {
            found.push(rest.split(|c| !is_name(c)).next().unwrap());
            continue;
        };
        let mut depth = 0;
        let mut first = true;
        for (i, c) in group.char_indices() {
            match c {
                '{' => depth += 1,
                '}' if depth == 0 => break,
                '}' => depth -= 1,
                ',' if depth == 0 => first = true,
                c if first && is_name(c) => {
                    found.push(group[i..].split(|c| !is_name(c)).next().unwrap());
                    first = false;
                }
                _ => {}
            }
        }
    }
    found
}

/// A source without its comments and without the unit tests at its end, which may use what they like.
fn code(path: &Path) -> String {
    let text = read(path);
    let text = text.split("#[cfg(test)]\nmod tests {").next().unwrap();
    let lines = text.lines().filter(|l| !l.trim_start().starts_with("//"));
    lines.fold(String::new(), |all, l| all + l + "\n")
}

/// The room of the shell that each file of daemon/ is in. The rest of daemon/ are crates of their own.
fn rooms() -> BTreeMap<String, Vec<PathBuf>> {
    let is_room = |p: &PathBuf| {
        let stem = p.file_stem().unwrap().to_str().unwrap();
        !p.join("Cargo.toml").exists() && !["lib", "main"].contains(&stem) && !sources(p).is_empty()
    };
    let named = |p: PathBuf| (p.file_stem().unwrap().to_str().unwrap().to_owned(), sources(&p));
    let mut rooms: BTreeMap<String, Vec<PathBuf>> = BTreeMap::new();
    for (room, files) in entries(&root().join("daemon")).into_iter().filter(is_room).map(named) {
        rooms.entry(room).or_default().extend(files);
    }
    rooms
}

/// Whom each room imports, and in which file.
fn imports() -> BTreeMap<(String, String), PathBuf> {
    let rooms = rooms();
    let mut imports = BTreeMap::new();
    for (room, files) in &rooms {
        for file in files {
            let text = code(file);
            // In a room's first file, `super` is the crate.
            let first =
                file.parent().unwrap().ends_with("daemon") || file.ends_with(format!("{room}/mod.rs"));
            let mut all = names(&text, "crate::");
            all.extend(first.then(|| names(&text, "super::")).into_iter().flatten());
            for other in all.into_iter().filter(|o| rooms.contains_key(*o) && o != room) {
                imports.entry((room.clone(), other.to_owned())).or_insert_with(|| file.clone());
            }
        }
    }
    imports
}

#[test]
fn crates_depend_downward_only() {
    let crates = table(CRATES);
    let workspace: toml::Table = read("Cargo.toml").parse().unwrap();
    let members = workspace["workspace"]["members"].as_array().unwrap();
    let members: BTreeSet<&str> = members.iter().filter_map(|m| m.as_str()).collect();
    assert_eq!(members, crates.iter().map(|c| c.0).collect(), "CRATES has a line for each crate");
    let ours: Vec<&str> =
        crates.iter().map(|c| c.0.rsplit('/').next().unwrap()).chain(["middlewatch"]).collect();
    for (folder, may) in &crates {
        let manifest: toml::Table = read(format!("{folder}/Cargo.toml")).parse().unwrap();
        for kind in ["dependencies", "dev-dependencies", "build-dependencies"] {
            let needs = manifest.get(kind).and_then(|t| t.as_table());
            for other in needs.into_iter().flat_map(|t| t.keys().map(String::as_str)) {
                assert!(!ours.contains(&other) || may.contains(&other), "{folder} must not know {other}");
            }
        }
    }
}

#[test]
fn rooms_import_downward_only() {
    let (told, rooms) = (table(ROOMS), rooms());
    let there: BTreeSet<&str> = rooms.keys().map(String::as_str).collect();
    assert_eq!(there, told.iter().map(|r| r.0).collect(), "ROOMS has a line for each room of daemon/");
    let imports = imports();
    for ((room, other), file) in &imports {
        let (room, other) = (room.as_str(), other.as_str());
        let may = told.iter().any(|(r, may)| *r == room && may.contains(&other));
        assert!(may, "{}: {room} must not know {other}", file.display());
    }
}

#[test]
fn files_are_read_in_one_place() {
    let ways = ["fs::read(", "fs::read_to_string(", "File::open(", ".read(true)"];
    let tests = |file: &PathBuf| file.ends_with("tests.rs");
    for file in rooms().into_values().flatten().filter(|f| !tests(f)) {
        let text = code(&file);
        let name = file.strip_prefix(root()).unwrap().to_str().unwrap();
        let may = name == "daemon/files.rs" || OPENERS.iter().any(|(opener, _)| *opener == name);
        for way in ways.into_iter().filter(|_| !may) {
            assert!(!text.contains(way), "{name}: {way} does not go through daemon/files.rs");
        }
    }
}

#[test]
fn each_pure_crate_bans_clocks_files_wires_threads_and_programs() {
    let model = read("daemon/terms/clippy.toml");
    for folder in pure_crates() {
        assert_eq!(read(folder.join("clippy.toml")), model, "{} has the bans of terms", folder.display());
    }
    for banned in [
        "std::time::Instant::now",
        "std::time::SystemTime::now",
        "std::env::var",
        "std::env::args",
        "std::thread::spawn",
        "std::thread::sleep",
        "std::process::Command",
        "std::fs::File",
        "std::fs::read",
        "std::fs::read_to_string",
        "std::fs::read_dir",
        "std::fs::write",
        "std::fs::remove_file",
        "std::path::Path::exists",
        "std::net::TcpListener",
        "std::net::TcpStream",
        "std::net::UdpSocket",
        "std::os::unix::net::UnixListener",
        "std::os::unix::net::UnixStream",
        "std::io::stdin",
        "std::println",
    ] {
        assert!(model.contains(&format!("\"{banned}\"")), "{banned} is not banned");
    }
    for clock in ["std::time::Instant::now", "std::time::SystemTime::now", "nix::time::clock_gettime"] {
        assert!(read("clippy.toml").contains(&format!("\"{clock}\"")), "{clock} is not banned in the shell");
    }
    // A ban is lifted where clocks are read, and nowhere else.
    let pure = pure_crates().flat_map(|c| sources(&c.join("src")));
    for file in pure.chain(rooms().into_values().flatten()) {
        let lifted = read(&file).contains("clippy::disallowed_");
        assert!(!lifted || file.ends_with("daemon/clock.rs"), "{} lifts a ban", file.display());
    }
}

/// Writes a crate that does all that is banned and asks clippy about it: a path that is misspelt bans nothing.
#[test]
#[ignore = "needs clippy"]
fn clippy_heeds_each_ban() {
    let folder = crate::aboard::Folder::new("bans");
    let toml = read("daemon/terms/clippy.toml");
    let bans: toml::Table = toml.parse().unwrap();
    let paths = |list: &str| -> Vec<String> {
        let list = bans[list].as_array().unwrap();
        list.iter().map(|b| b["path"].as_str().unwrap().to_owned()).collect()
    };
    let (methods, types, macros) =
        (paths("disallowed-methods"), paths("disallowed-types"), paths("disallowed-macros"));
    let mut source = "//! Does what it must not.\n".to_owned();
    for (n, method) in methods.iter().enumerate() {
        source += &format!("/// Does it.\npub fn f{n}() {{ let _ = {method}{}; }}\n", used(method));
    }
    for (n, t) in types.iter().enumerate() {
        source += &format!("/// Has it.\npub struct T{n}(pub {t});\n");
    }
    for (n, m) in macros.iter().enumerate() {
        source += &format!("/// Says it.\npub fn m{n}() {{ {m}!(\"\"); }}\n");
    }
    folder.write("Cargo.toml", "[package]\nname = \"bans\"\nedition = \"2024\"\n[workspace]\n");
    folder.write("clippy.toml", &toml);
    std::fs::create_dir(folder.0.join("src")).unwrap();
    folder.write("src/lib.rs", &source);
    let out = std::process::Command::new("cargo")
        .args(["clippy", "--offline", "--message-format", "short"])
        .current_dir(&folder.0)
        .env("CARGO_TARGET_DIR", folder.0.join("target"))
        .env_remove("CLIPPY_CONF_DIR")
        .output()
        .unwrap();
    let told = String::from_utf8_lossy(&out.stderr);
    assert!(out.status.success(), "{told}");
    for (kind, path) in methods
        .iter()
        .map(|p| ("method", p))
        .chain(types.iter().map(|p| ("type", p)))
        .chain(macros.iter().map(|p| ("macro", p)))
    {
        assert!(told.contains(&format!("disallowed {kind} `{path}`")), "{path} is not heeded:\n{told}");
    }
}

/// What a function needs behind its path to be a value.
fn used(method: &str) -> &'static str {
    match method.rsplit_once("::").unwrap() {
        ("std::fs", "copy" | "rename" | "hard_link" | "write") => "::<&str, &str>",
        ("std::fs", _) | ("std::env", "var" | "var_os") => "::<&str>",
        ("std::thread", "spawn") => "::<fn(), ()>",
        ("std::thread", "scope") => "(|_| ())",
        _ => "",
    }
}

#[test]
fn no_file_is_longer_than_can_be_read() {
    let files = sources(root());
    assert!(files.len() > 200, "{}", files.len());
    let mut longer: BTreeMap<&str, usize> = LONGER.iter().copied().collect();
    for file in files {
        let name = file.strip_prefix(root()).unwrap().to_str().unwrap();
        let (lines, most) = (read(&file).lines().count(), longer.remove(name));
        assert!(lines <= most.unwrap_or(LONGEST), "{name} has {lines} lines");
        assert!(most.is_none() || lines > LONGEST, "{name} is short enough: take it out of LONGER");
    }
    assert!(longer.is_empty(), "{longer:?} are gone: take them out of LONGER");
}

/// What is not declared is not run, and nobody would miss it.
#[test]
fn every_test_file_is_a_module_of_its_program() {
    for tests in pure_crates().chain([root().to_owned()]).map(|c| c.join("tests")).filter(|t| t.is_dir()) {
        let main = tests.join("main.rs");
        let files = entries(&tests);
        // A crate with one file of tests has that as its program.
        if files.len() == 1 {
            continue;
        }
        let text = read(&main);
        for path in files {
            let name = path.file_stem().unwrap().to_str().unwrap();
            let is_file = path.extension().is_some_and(|e| e == "rs") && name != "main";
            if is_file || path.join("mod.rs").is_file() {
                let declared = text.lines().filter(|l| *l == format!("mod {name};")).count();
                assert_eq!(declared, 1, "{} must say `mod {name};`", main.display());
            }
        }
    }
}
