//! The text of the systemd unit. Directives as in systemd.unit(5), systemd.service(5), systemd.exec(5) and
//! systemd.resource-control(5).

use std::fmt::Write;
use std::path::PathBuf;

/// The folder of the running service, where its control socket lies: `/run/lubber`.
pub const RUNTIME: &str = "lubber";

/// What the service is to do.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Plan {
    /// The program, with its whole path.
    pub program: PathBuf,
    /// Whose service it is: the owner's, so that the owner's `lubber status` reaches it.
    pub user: String,
    /// Where it runs: the folder of the boat file.
    pub folder: PathBuf,
    /// What comes after `lubber watch`.
    pub arguments: Vec<String>,
    /// Folders that it writes to, beside its own.
    pub writes: Vec<PathBuf>,
}

/// A watch that says nothing of itself for so long is started anew. The loop says it every third of this.
const WATCHDOG_S: u32 = 30;

/// The unit as text.
pub fn unit(plan: &Plan) -> String {
    let mut command = quoted(&plan.program.display().to_string());
    command.push_str(" watch --keep-trying");
    for argument in &plan.arguments {
        command.push(' ');
        command.push_str(&quoted(argument));
    }
    // Only what was not said in the arguments is added.
    if !plan.arguments.iter().any(|argument| argument.starts_with("--control") || argument == "--no-control") {
        let _ = write!(command, " --control /run/{RUNTIME}/lubber.sock");
    }
    let mut text = String::new();
    let mut line = |words: &str| {
        text.push_str(words);
        text.push('\n');
    };
    line("# Written by `lubber install-service`. It starts the watch with the boat and starts it anew when it stops.");
    line("# A stopped program cannot warn: give it a sounder, and something outside that hears its heartbeat.");
    line("[Unit]");
    line("Description=lubber keeps watch on the boat's heading");
    line("After=local-fs.target time-set.target");
    line("# However often it fails, it is tried again.");
    line("StartLimitIntervalSec=0");
    line("");
    line("[Service]");
    line("Type=notify");
    line(&format!("ExecStart={command}"));
    line(&format!("User={}", plan.user));
    line("# The group that may open serial ports in Debian; `lubber ports` shows it.");
    line("SupplementaryGroups=dialout");
    line(&format!("WorkingDirectory={}", specifiers(&plan.folder.display().to_string())));
    line(&format!("WatchdogSec={WATCHDOG_S}"));
    line("Restart=always");
    line("RestartSec=2");
    line("# A watch that ends writes its last second and sounds its end.");
    line("TimeoutStopSec=15");
    line("KillSignal=SIGINT");
    line("SuccessExitStatus=130");
    line(&format!("RuntimeDirectory={RUNTIME}"));
    line("RuntimeDirectoryMode=0700");
    line(&format!("StateDirectory={RUNTIME}"));
    line("StateDirectoryMode=0700");
    line(&format!("Environment=NO_COLOR=1 XDG_RUNTIME_DIR=/run/{RUNTIME} XDG_STATE_HOME=/var/lib/{RUNTIME}"));
    line("");
    line("# No more than it needs.");
    line("NoNewPrivileges=yes");
    line("CapabilityBoundingSet=");
    line("ProtectSystem=strict");
    line("ProtectHome=read-only");
    for folder in &plan.writes {
        line(&format!("ReadWritePaths={}", quoted(&folder.display().to_string())));
    }
    line("PrivateTmp=yes");
    line("DevicePolicy=closed");
    for device in ["char-ttyUSB", "char-ttyACM", "char-ttyS", "char-ttyAMA"] {
        line(&format!("DeviceAllow={device} rw"));
    }
    line("# For a sounder that plays a sound.");
    line("DeviceAllow=char-alsa rw");
    line("ProtectKernelTunables=yes");
    line("ProtectKernelModules=yes");
    line("ProtectKernelLogs=yes");
    line("ProtectControlGroups=yes");
    line("ProtectClock=yes");
    line("ProtectHostname=yes");
    line("RestrictNamespaces=yes");
    line("RestrictRealtime=yes");
    line("RestrictSUIDSGID=yes");
    line("RestrictAddressFamilies=AF_UNIX AF_INET AF_INET6");
    line("LockPersonality=yes");
    line("MemoryDenyWriteExecute=yes");
    line("SystemCallArchitectures=native");
    line("SystemCallFilter=@system-service");
    line("SystemCallErrorNumber=EPERM");
    line("UMask=0077");
    line("# Several times what it needs: a watch that grows is started anew before the board stands still.");
    line("MemoryMax=96M");
    line("# When the board is short of anything, others wait.");
    line("OOMScoreAdjust=-500");
    line("Nice=-5");
    line("");
    line("[Install]");
    line("WantedBy=multi-user.target");
    text
}

/// One word of a command line of a unit: systemd.service(5), "Command lines".
fn quoted(word: &str) -> String {
    let plain = |c: char| c.is_ascii_alphanumeric() || "-_./:=?@+,".contains(c);
    let word = specifiers(word);
    if !word.is_empty() && word.chars().all(|c| plain(c) || c == '%') {
        return word;
    }
    let mut quoted = String::from('"');
    for c in word.chars() {
        match c {
            '"' | '\\' => quoted.extend(['\\', c]),
            '$' => quoted.push_str("$$"),
            '\n' => quoted.push_str("\\n"),
            c => quoted.push(c),
        }
    }
    quoted.push('"');
    quoted
}

/// A per cent sign begins a specifier, and is doubled where it is meant itself.
fn specifiers(word: &str) -> String {
    word.replace('%', "%%")
}

#[cfg(test)]
mod tests {
    use super::*;

    pub(crate) fn plan() -> Plan {
        Plan {
            program: "/usr/local/bin/lubber".into(),
            user: "ada".into(),
            folder: "/home/ada/boat".into(),
            arguments: vec!["--boat".into(), "/home/ada/boat/boat.toml".into()],
            writes: vec!["/home/ada/log of the boat".into()],
        }
    }

    #[test]
    fn the_command_is_as_it_was_asked_for() {
        let text = unit(&plan());
        let command = "ExecStart=/usr/local/bin/lubber watch --keep-trying --boat /home/ada/boat/boat.toml --control \
                       /run/lubber/lubber.sock\n";
        assert!(text.contains(command), "{text}");
        assert!(text.contains("ReadWritePaths=\"/home/ada/log of the boat\"\n"), "{text}");
        let own = Plan { arguments: vec!["--no-control".into()], ..plan() };
        assert!(unit(&own).contains("lubber watch --keep-trying --no-control\n"));
    }

    #[test]
    fn no_word_breaks_out_of_the_command_line() {
        assert_eq!(quoted("serial:/dev/ttyUSB0?baud=4800"), "serial:/dev/ttyUSB0?baud=4800");
        assert_eq!(quoted("100%"), "100%%");
        assert_eq!(quoted("a b\"c\\$HOME\n"), r#""a b\"c\\$$HOME\n""#);
        assert_eq!(quoted(""), "\"\"");
        assert_eq!(quoted("a;b"), "\"a;b\"");
    }
}
