//! What stands in the way of the service on this machine.

use std::fs;
use std::os::unix::fs::MetadataExt;
use std::path::Path;

use crate::service::Plan;

/// One thing that was looked at.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Finding {
    /// Whether it is as it must be.
    pub good: bool,
    /// What was found, with the remedy where it is not good.
    pub text: String,
}

/// Looks at what the service needs. `root` is `/`, but in tests.
pub fn checks(plan: &Plan, root: &Path) -> Vec<Finding> {
    let mut found = Vec::new();
    let mut say = |good: bool, text: String| found.push(Finding { good, text });
    let below = |path: &Path| root.join(path.strip_prefix("/").unwrap_or(path));

    let program = below(&plan.program);
    match fs::metadata(&program) {
        Ok(about) if about.is_file() && about.mode() & 0o111 != 0 => {
            let built = plan.program.components().any(|part| part.as_os_str() == "target");
            if built {
                say(
                    false,
                    format!(
                        "{} lies where it was built, and the next build changes it under the running watch; copy it: \
                         sudo install {} /usr/local/bin/lubber",
                        plan.program.display(),
                        plan.program.display()
                    ),
                );
            } else {
                say(true, format!("the program is {}", plan.program.display()));
            }
        }
        _ => say(false, format!("{} cannot be run; install the program there", plan.program.display())),
    }

    let users = fs::read_to_string(below(Path::new("/etc/passwd"))).unwrap_or_default();
    let known = users.lines().any(|line| line.split(':').next() == Some(plan.user.as_str()));
    match (known, plan.user.as_str()) {
        (true, "root") => say(
            false,
            "the service would run as root, which it does not need; name your own user with --user".to_owned(),
        ),
        (true, user) => say(true, format!("it runs as {user}, and `lubber status` of {user} reaches it")),
        (false, user) => say(false, format!("there is no user {user}; name one with --user")),
    }

    let groups = fs::read_to_string(below(Path::new("/etc/group"))).unwrap_or_default();
    if groups.lines().any(|line| line.starts_with("dialout:")) {
        say(true, "the group dialout is there: the service may open serial ports".to_owned());
    } else {
        say(
            false,
            "there is no group dialout, which serial ports belong to in Debian; see with `lubber ports` which group may \
             read them and change SupplementaryGroups="
                .to_owned(),
        );
    }

    for folder in std::iter::once(&plan.folder).chain(&plan.writes) {
        if fs::metadata(below(folder)).is_ok_and(|about| about.is_dir()) {
            say(true, format!("the folder {} is there", folder.display()));
        } else {
            say(false, format!("the folder {} is not there; make it: mkdir -p {0}", folder.display()));
        }
    }

    if fs::metadata(below(Path::new("/run/systemd/system"))).is_ok() {
        say(true, "the system is run by systemd".to_owned());
    } else {
        say(false, "this system is not run by systemd now; the unit is for one that is".to_owned());
    }
    found
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::os::unix::fs::PermissionsExt;

    #[test]
    fn what_is_missing_is_found_with_its_remedy() {
        let root = std::env::temp_dir().join(format!("lubber-service-{}", std::process::id()));
        let _ = fs::remove_dir_all(&root);
        for folder in ["usr/local/bin", "etc", "home/ada/boat", "run/systemd/system"] {
            fs::create_dir_all(root.join(folder)).unwrap();
        }
        let plan = Plan {
            program: "/usr/local/bin/lubber".into(),
            user: "ada".into(),
            folder: "/home/ada/boat".into(),
            arguments: Vec::new(),
            writes: vec!["/home/ada/log".into()],
        };
        let bad = |plan: &Plan| {
            let found = checks(plan, &root).into_iter().filter(|finding| !finding.good);
            found.map(|finding| finding.text).collect::<Vec<_>>()
        };
        let all = bad(&plan);
        assert_eq!(all.len(), 4, "{all:?}");
        assert!(all[0].contains("cannot be run") && all[3].contains("mkdir -p /home/ada/log"), "{all:?}");

        fs::write(root.join("usr/local/bin/lubber"), "").unwrap();
        fs::set_permissions(root.join("usr/local/bin/lubber"), fs::Permissions::from_mode(0o755)).unwrap();
        fs::write(root.join("etc/passwd"), "root:x:0:0::/root:/bin/sh\nada:x:1000:1000::/home/ada:/bin/sh\n").unwrap();
        fs::write(root.join("etc/group"), "dialout:x:20:ada\n").unwrap();
        fs::create_dir_all(root.join("home/ada/log")).unwrap();
        assert_eq!(bad(&plan), [""; 0]);
        let root_user = Plan { user: "root".into(), ..plan.clone() };
        assert!(bad(&root_user)[0].contains("as root"));
        let built = Plan { program: "/home/ada/lubber/target/release/lubber".into(), ..plan };
        fs::create_dir_all(root.join("home/ada/lubber/target/release")).unwrap();
        fs::copy(root.join("usr/local/bin/lubber"), root.join("home/ada/lubber/target/release/lubber")).unwrap();
        assert!(bad(&built)[0].contains("sudo install /home/ada"), "{:?}", bad(&built));
        fs::remove_dir_all(&root).unwrap();
    }
}
