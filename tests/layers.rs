//! The layers hold: a file names only what lies below it, and a wrong arrow fails by its name.

use std::fs;
use std::path::Path;
use std::path::PathBuf;

/// What each module of the core may name: everything on a lower layer, and itself.
const CORE: [(&str, u8); 12] = [
    ("time", 0),
    ("bounds", 0),
    ("decimal", 0),
    ("angle", 1),
    ("unit", 1),
    ("frame", 2),
    ("heading", 2),
    ("sentence", 3),
    ("announce", 3),
    ("picture", 4),
    ("alert", 5),
    ("arbiter", 6),
];
const MONITOR: (&str, u8) = ("monitor", 7);

/// What each module of the host may name of the others.
const HOST: [(&str, &[&str]); 19] = [
    ("exit", &[]),
    ("clock", &[]),
    ("analysis", &[]),
    ("view", &[]),
    ("plot", &[]),
    ("input", &["clock"]),
    ("session", &["input", "clock"]),
    ("terminal", &["view"]),
    ("control", &["view"]),
    ("announce", &["clock"]),
    ("record", &["clock"]),
    ("page", &["clock", "view"]),
    ("journal", &["view"]),
    ("sound", &["clock"]),
    ("memory", &["clock"]),
    ("boat", &["analysis", "exit"]),
    ("simulate", &["analysis"]),
    ("service", &[]),
    (
        "command",
        &[
            "exit", "clock", "analysis", "view", "plot", "input", "session", "terminal", "control", "announce",
            "record", "journal", "page", "sound", "memory", "boat", "simulate", "service",
        ],
    ),
];

fn root() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("..")
}

/// Every Rust file below `folder`, with the top-level module it belongs to.
fn files(folder: &Path) -> Vec<(String, PathBuf)> {
    let mut found = Vec::new();
    let mut open = vec![folder.to_path_buf()];
    while let Some(dir) = open.pop() {
        for entry in fs::read_dir(&dir).unwrap() {
            let path = entry.unwrap().path();
            if path.is_dir() {
                open.push(path);
            } else if path.extension().is_some_and(|e| e == "rs") {
                let inside = path.strip_prefix(folder).unwrap();
                let first = inside.components().next().unwrap().as_os_str().to_string_lossy().into_owned();
                let module = first.trim_end_matches(".rs").to_string();
                if !matches!(module.as_str(), "lib" | "main") {
                    found.push((module, path));
                }
            }
        }
    }
    assert!(found.len() > 5, "no files below {}", folder.display());
    found
}

/// The modules that `text` names with `crate::`, comments left out.
fn named(text: &str) -> Vec<String> {
    let code: Vec<&str> = text.lines().map(|line| line.split("//").next().unwrap_or("")).collect();
    code.join("\n")
        .split("crate::")
        .skip(1)
        .map(|rest| rest.chars().take_while(|c| c.is_ascii_lowercase() || *c == '_').collect())
        .collect()
}

/// The arrows of one file that point where they may not.
fn wrong_arrows(module: &str, text: &str, allowed: impl Fn(&str, &str) -> bool) -> Vec<String> {
    let mut wrong: Vec<String> = named(text)
        .into_iter()
        .filter(|to| to != module && !allowed(module, to))
        .map(|to| format!("{module} -> {to}"))
        .collect();
    if text.contains("use crate::{") {
        wrong.push(format!(
            "{module} -> several modules in one `use crate::{{`: one a line, so that this test sees each"
        ));
    }
    if text.contains("super::super") {
        wrong.push(format!("{module} -> super::super"));
    }
    wrong
}

fn core_allows(from: &str, to: &str) -> bool {
    let layer = |name: &str| CORE.iter().chain([&MONITOR]).find(|(n, _)| *n == name).map(|(_, layer)| *layer);
    match (layer(from), layer(to)) {
        (Some(from), Some(to)) => to < from,
        _ => false,
    }
}

fn host_allows(from: &str, to: &str) -> bool {
    HOST.iter().find(|(name, _)| *name == from).is_some_and(|(_, may)| may.contains(&to))
}

#[test]
fn the_core_names_only_lower_layers() {
    let wrong: Vec<String> = files(&root().join("firmware-core/src"))
        .into_iter()
        .flat_map(|(module, path)| {
            let text = fs::read_to_string(&path).unwrap();
            let at = path.display().to_string();
            wrong_arrows(&module, &text, core_allows).into_iter().map(move |arrow| format!("{arrow} in {at}"))
        })
        .collect();
    assert!(wrong.is_empty(), "arrows that point upwards:\n{}", wrong.join("\n"));
}

#[test]
fn the_host_keeps_its_leaves_apart() {
    let wrong: Vec<String> = files(&root().join("host/src"))
        .into_iter()
        .flat_map(|(module, path)| {
            let text = fs::read_to_string(&path).unwrap();
            let at = path.display().to_string();
            wrong_arrows(&module, &text, host_allows).into_iter().map(move |arrow| format!("{arrow} in {at}"))
        })
        .collect();
    assert!(wrong.is_empty(), "arrows that may not be:\n{}", wrong.join("\n"));
}

#[test]
fn a_wrong_arrow_is_found() {
    assert_eq!(wrong_arrows("frame", "use crate::picture::Origin;\n", core_allows), ["frame -> picture"]);
    assert_eq!(wrong_arrows("frame", "use crate::heading::Card;\n", core_allows), ["frame -> heading"]);
    assert_eq!(wrong_arrows("picture", "use crate::frame::Talker; // crate::monitor\n", core_allows), [""; 0]);
    assert_eq!(wrong_arrows("view", "fn f(x: crate::input::Source) {}\n", host_allows), ["view -> input"]);
    assert_eq!(wrong_arrows("alert", "use crate::{time, angle};", core_allows).len(), 2);
}

#[test]
fn the_core_is_no_std_without_condition_and_has_no_float() {
    let core = root().join("firmware-core/src");
    let lib = fs::read_to_string(core.join("lib.rs")).unwrap();
    assert!(lib.lines().any(|line| line == "#![no_std]"), "lib.rs must say #![no_std] without a condition");
    for (_, path) in files(&core) {
        let text = fs::read_to_string(&path).unwrap();
        // Tests may compare with the standard library's floats; what is built may not hold any.
        let built = text.split("#[cfg(test)]\nmod tests {").next().unwrap_or("");
        let inside = path.strip_prefix(&core).unwrap();
        if inside.ends_with("tests.rs") || inside.components().any(|part| part.as_os_str() == "tests") {
            continue;
        }
        for word in ["f32", "f64", "alloc::", "unsafe "] {
            let hit = built.lines().map(|l| l.split("//").next().unwrap_or("")).find(|line| line.contains(word));
            assert_eq!(hit, None, "{word} in {}", path.display());
        }
    }
}
