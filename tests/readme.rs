//! The README and DEVELOPERS.md are true: their commands run, and print what they are said to print.

use std::fs;
use std::path::Path;
use std::path::PathBuf;
use std::process::Command;

fn root() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("..")
}

fn read(name: &str) -> String {
    fs::read_to_string(root().join(name)).unwrap()
}

/// The fenced blocks of `language` in `text`, each with what stands before it.
fn blocks<'a>(text: &'a str, language: &str) -> Vec<(&'a str, &'a str)> {
    let fence = format!("```{language}\n");
    let mut found = Vec::new();
    let mut from = 0;
    while let Some(at) = text[from..].find(&fence) {
        let begin = from + at + fence.len();
        let end = begin + text[begin..].find("```").unwrap();
        found.push((&text[..from + at], &text[begin..end]));
        from = end + 3;
    }
    found
}

fn marked<'a>(text: &'a str, mark: &str, language: &str) -> &'a str {
    let mark = format!("<!-- {mark} -->");
    blocks(text, language).into_iter().find(|(before, _)| before.trim_end().ends_with(&mark)).unwrap().1.trim()
}

fn lubber(arguments: &[&str]) -> std::process::Output {
    Command::new(env!("CARGO_BIN_EXE_lubber")).current_dir(root()).args(arguments).output().unwrap()
}

#[test]
fn the_demo_prints_what_the_readme_shows() {
    let readme = read("README.md");
    let command = marked(&readme, "demo", "sh");
    let arguments = command.strip_prefix("cargo run --release --quiet -- ").unwrap();
    let output = lubber(&arguments.split_whitespace().collect::<Vec<_>>());
    assert!(output.status.success());
    let printed = String::from_utf8(output.stdout).unwrap();
    let shown = blocks(&readme, "text")[0].1;
    assert!(shown.lines().count() > 40, "the README shows the run");
    assert_eq!(after(shown, &printed).trim(), "", "the README leaves out the end");
}

/// Every stretch of `shown` between two "..." lines stands in `printed` as it is, one after another;
/// what comes after the last.
fn after<'a>(shown: &str, printed: &'a str) -> &'a str {
    let mut rest = printed;
    for stretch in shown.split("...\n") {
        let at = rest.find(stretch).unwrap_or_else(|| panic!("not printed:\n{stretch}\nin\n{rest}"));
        rest = &rest[at + stretch.len()..];
    }
    rest
}

#[test]
fn the_swing_prints_what_the_readme_shows() {
    let readme = read("README.md");
    let command = marked(&readme, "swing", "sh");
    let arguments = command.strip_prefix("lubber ").unwrap();
    let output = lubber(&arguments.split_whitespace().collect::<Vec<_>>());
    assert!(output.status.success());
    let shown = blocks(&readme, "text")[1].1;
    assert!(shown.starts_with("good") && shown.lines().count() > 15);
    let printed = String::from_utf8(output.stdout).unwrap();
    assert!(after(shown, &printed).contains("Check the card against a known bearing"));
}

#[test]
fn the_test_command_is_the_one_that_is_checked() {
    let readme = read("README.md");
    assert_eq!(marked(&readme, "tests", "sh"), "cargo test --workspace --locked");
    let script = read(".ci/run");
    assert!(script.contains("<!-- tests -->") && script.contains("README.md"), ".ci/run reads it from the README");
}

/// Whether a word can be a verb: small letters, with a hyphen between two.
fn is_verb(word: &str) -> bool {
    word.split('-').all(|part| !part.is_empty() && part.chars().all(|c| c.is_ascii_lowercase()))
}

#[test]
fn every_verb_of_the_readme_is_there_and_its_arguments_are_known() {
    let readme = read("README.md");
    let mut seen = 0;
    for (_, block) in blocks(&readme, "sh") {
        for line in block.lines().filter(|line| line.starts_with("lubber ")) {
            let typed = line.split(" #").next().unwrap();
            let words: Vec<&str> = typed.split_whitespace().skip(1).collect();
            // What is typed is understood; with --help nothing is opened.
            let help: Vec<&str> = words.iter().copied().chain(["--help"]).collect();
            assert!(lubber(&help).status.success(), "{typed}");
            for option in words.iter().filter(|word| word.starts_with("--")) {
                let verb: Vec<&str> = words.iter().copied().take_while(|w| is_verb(w)).collect();
                let text = [&verb[..], &["--help"]].concat();
                let help = String::from_utf8(lubber(&text).stdout).unwrap();
                assert!(help.contains(option), "{option} of {typed}");
            }
            seen += 1;
        }
    }
    assert!(seen >= 8, "only {seen} examples");
}

#[test]
fn the_examples_that_need_no_gear_run() {
    let folder = std::env::temp_dir().join(format!("lubber-readme-{}", std::process::id()));
    fs::create_dir_all(&folder).unwrap();
    let card = lubber(&["card", "convert", "135C", "--card", "fixtures/card.toml", "--variation", "4.1E"]);
    assert!(card.status.success() && !card.stdout.is_empty());
    assert!(lubber(&["card", "show", "fixtures/card.toml"]).status.success());
    assert!(lubber(&["ports"]).status.success());
    let log = folder.join("voyage.nmea");
    let made = lubber(&["simulate", "voyage", "--out", log.to_str().unwrap(), "--hours", "0.1"]);
    assert!(made.status.success(), "{}", String::from_utf8_lossy(&made.stderr));
    assert!(lubber(&["listen", log.to_str().unwrap()]).status.success());
    fs::remove_dir_all(&folder).unwrap();
}

#[test]
fn the_boat_file_of_the_readme_is_accepted() {
    let readme = read("README.md");
    let folder = std::env::temp_dir().join(format!("lubber-boat-{}", std::process::id()));
    fs::create_dir_all(&folder).unwrap();
    fs::write(folder.join("boat.toml"), marked(&readme, "boat.toml", "toml")).unwrap();
    fs::copy(root().join("fixtures/card.toml"), folder.join("card.toml")).unwrap();
    let boat = folder.join("boat.toml");
    let output = lubber(&["watch", "fixtures/night-passage.nmea", "--boat", boat.to_str().unwrap()]);
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    fs::remove_dir_all(&folder).unwrap();
}

#[test]
fn what_developers_md_names_is_there() {
    let text = read("DEVELOPERS.md");
    // Paths in back quotes that look like a file or a folder of this repository.
    let mut seen = 0;
    for quoted in text.split('`').skip(1).step_by(2) {
        let is_path = quoted.contains('/') && !quoted.contains([' ', '*', '$', ':', '\n']) && !quoted.starts_with("..");
        if is_path {
            let inside =
                [root().join(quoted), root().join("firmware-core/src").join(quoted), root().join("host").join(quoted)];
            let inside = inside.iter().chain([root().join("host/src").join(quoted)].iter()).any(|path| path.exists());
            assert!(inside, "{quoted} is not there");
            seen += 1;
        }
    }
    assert!(seen >= 10, "only {seen} paths");
    let manifests = read("host/Cargo.toml") + &read("firmware-core/Cargo.toml");
    for bench in
        text.split("--bench ").skip(1).map(|rest| rest.split(|c: char| !c.is_ascii_alphanumeric()).next().unwrap())
    {
        assert!(manifests.contains(&format!("name = \"{bench}\"")), "no bench {bench}");
    }
}
