//! `lubber ports`.

use std::fmt::Write;
use std::path::Path;

use serde::Serialize;
use serialport::SerialPortInfo;
use serialport::SerialPortType;

use crate::command::Format;
use crate::exit::Exit;
use crate::exit::Failure;
use crate::input::access;

/// List the serial adapters of this machine.
///
/// For each: what it is, whether you may read it and else which group may, and a name that stays
/// the same when it is plugged in elsewhere. Nothing is opened, so nothing is disturbed.
#[derive(Debug, clap::Args)]
pub struct Args {
    /// How to write the list.
    #[arg(long, value_enum, default_value_t = Format::Text)]
    format: Format,
}

/// The list as it is written in JSON.
#[derive(Debug, Serialize)]
struct List {
    schema: u32,
    ports: Vec<Port>,
}

/// One adapter. What is not known is null.
#[derive(Debug, Serialize)]
struct Port {
    /// What to write where a source is asked for: by the lasting name where there is one.
    source: String,
    device: String,
    by_id: Option<String>,
    kind: &'static str,
    usb: Option<Usb>,
    readable: Option<bool>,
    group: Option<String>,
}

/// What a USB adapter says of itself; it may say anything, so control characters are taken out.
#[derive(Debug, Serialize)]
struct Usb {
    vendor_id: u16,
    product_id: u16,
    manufacturer: Option<String>,
    product: Option<String>,
    serial_number: Option<String>,
}

/// Runs the verb.
///
/// # Errors
/// [`Failure`] says what could not be done and the remedy.
pub fn run(args: Args) -> Result<Exit, Failure> {
    let found = serialport::available_ports().map_err(|error| {
        Failure::new(format!("the system does not list its serial ports ({error}); name one with serial:DEVICE"))
    })?;
    let links = links(Path::new("/dev/serial/by-id"));
    let mut ports: Vec<Port> = found.into_iter().map(|info| port(info, &links)).collect();
    ports.sort_by(|a, b| (a.kind != "usb", &a.device).cmp(&(b.kind != "usb", &b.device)));
    match args.format {
        Format::Text => anstream::print!("{}", text(&ports)),
        Format::Json => {
            let list = List { schema: 1, ports };
            let json = serde_json::to_string(&list).map_err(|error| Failure::new(error.to_string()))?;
            anstream::println!("{json}");
        }
    }
    Ok(Exit::Done)
}

fn port(info: SerialPortInfo, links: &[(String, String)]) -> Port {
    let device = info.port_name;
    let access = access(&device);
    let by_id = links.iter().find(|(_, target)| *target == device).map(|(link, _)| link.clone());
    let (kind, usb) = match info.port_type {
        SerialPortType::UsbPort(usb) => (
            "usb",
            Some(Usb {
                vendor_id: usb.vid,
                product_id: usb.pid,
                manufacturer: usb.manufacturer.map(printable),
                product: usb.product.map(printable),
                serial_number: usb.serial_number.map(printable),
            }),
        ),
        SerialPortType::PciPort => ("built-in", None),
        SerialPortType::BluetoothPort => ("bluetooth", None),
        SerialPortType::Unknown => ("unknown", None),
    };
    let source = format!("serial:{}", by_id.as_ref().unwrap_or(&device));
    Port { source, device, by_id, kind, usb, readable: access.readable, group: access.group }
}

/// Each link in `folder` with the device it leads to.
fn links(folder: &Path) -> Vec<(String, String)> {
    let mut links = Vec::new();
    for entry in std::fs::read_dir(folder).into_iter().flatten().flatten() {
        if let Ok(target) = std::fs::canonicalize(entry.path()) {
            links.push((entry.path().display().to_string(), target.display().to_string()));
        }
    }
    links.sort();
    links
}

fn printable(text: String) -> String {
    text.chars().filter(|c| !c.is_control()).collect()
}

/// Widest the middle column may be, so that a row keeps within 80 columns.
const WHAT_AT_MOST: usize = 40;

fn text(ports: &[Port]) -> String {
    if ports.is_empty() {
        return NONE.to_owned();
    }
    let rows: Vec<[String; 3]> = ports.iter().map(|port| [port.device.clone(), what(port), may_read(port)]).collect();
    let width = |column: usize, title: &str| {
        rows.iter().map(|row| row[column].chars().count()).chain([title.len()]).max().unwrap_or(0)
    };
    let (device, what) = (width(0, "DEVICE"), width(1, "WHAT").min(WHAT_AT_MOST));
    let mut out = format!("{:device$}  {:what$}  MAY YOU READ IT\n", "DEVICE", "WHAT");
    for [first, second, third] in &rows {
        let _ = writeln!(out, "{first:device$}  {:what$}  {third}", shortened(second));
    }
    let named: Vec<&Port> = ports.iter().filter(|port| port.by_id.is_some()).collect();
    if !named.is_empty() {
        out.push_str("\nName it so, and it is found wherever it is plugged in:\n");
        for port in named {
            let _ = writeln!(out, "  {}\n    now {}", port.source, port.device);
        }
    }
    let mut groups: Vec<&str> =
        ports.iter().filter(|port| port.readable == Some(false)).filter_map(|port| port.group.as_deref()).collect();
    groups.sort_unstable();
    groups.dedup();
    for group in groups {
        let _ = write!(
            out,
            "\nTo be let in to the group {group}, once, and then log out and in again:\n  \
             sudo usermod -aG {group} $USER\n"
        );
    }
    out
}

fn what(port: &Port) -> String {
    let Some(usb) = &port.usb else {
        return match port.kind {
            "built-in" => "built-in port",
            "bluetooth" => "Bluetooth",
            _ => "serial port",
        }
        .to_owned();
    };
    let names: Vec<&str> = [&usb.manufacturer, &usb.product].into_iter().flatten().map(String::as_str).collect();
    let names = if names.is_empty() { "USB adapter".to_owned() } else { names.join(" ") };
    format!("{names} ({:04x}:{:04x})", usb.vendor_id, usb.product_id)
}

fn may_read(port: &Port) -> String {
    match (port.readable, &port.group) {
        (Some(true), _) => "yes".to_owned(),
        (Some(false), Some(group)) => format!("no: group {group} may"),
        (Some(false), None) => "no: its owner may".to_owned(),
        (None, _) => "not known".to_owned(),
    }
}

fn shortened(text: &str) -> String {
    if text.chars().count() <= WHAT_AT_MOST {
        return text.to_owned();
    }
    let kept: String = text.chars().take(WHAT_AT_MOST - 3).collect();
    format!("{}...", kept.trim_end())
}

const NONE: &str = "\
No serial adapter was found.

Plug the adapter in and run this again. On Linux it then appears as /dev/ttyUSB0
or /dev/ttyACM0; `dmesg | tail` shows whether the system saw it at all. If not,
try another cable (some only charge), another USB socket, and look at its power.

A gateway in the boat's network needs no adapter: tcp:HOST:PORT, or for what it
broadcasts udp:0.0.0.0:PORT.
";

#[cfg(test)]
mod tests {
    use super::*;

    fn usb_port() -> Port {
        let info = SerialPortInfo {
            port_name: "/dev/ttyUSB0".to_owned(),
            port_type: SerialPortType::UsbPort(serialport::UsbPortInfo {
                vid: 0x1209,
                pid: 0x0001,
                serial_number: Some("42".to_owned()),
                manufacturer: Some("Invented\u{1b}[31m Works".to_owned()),
                product: Some("Four-wire serial adapter with a long name".to_owned()),
            }),
        };
        let link = ("/dev/serial/by-id/usb-Invented_42-if00".to_owned(), "/dev/ttyUSB0".to_owned());
        Port { readable: Some(false), group: Some("dialout".to_owned()), ..port(info, &[link]) }
    }

    #[test]
    fn the_table_keeps_within_eighty_columns_and_names_the_remedy() {
        let info = SerialPortInfo { port_name: "/dev/ttyS0".to_owned(), port_type: SerialPortType::PciPort };
        let built_in = Port { readable: Some(true), ..port(info, &[]) };
        let table = text(&[usb_port(), built_in]);
        assert_eq!(
            table,
            "DEVICE        WHAT                                      MAY YOU READ IT\n\
             /dev/ttyUSB0  Invented[31m Works Four-wire serial a...  no: group dialout may\n\
             /dev/ttyS0    built-in port                             yes\n\
             \n\
             Name it so, and it is found wherever it is plugged in:\n  \
               serial:/dev/serial/by-id/usb-Invented_42-if00\n    \
                 now /dev/ttyUSB0\n\
             \n\
             To be let in to the group dialout, once, and then log out and in again:\n  \
               sudo usermod -aG dialout $USER\n"
        );
        assert!(table.lines().all(|line| line.chars().count() <= 80));
    }

    #[test]
    fn none_says_what_to_look_for() {
        assert!(text(&[]).contains("/dev/ttyUSB0") && text(&[]).lines().all(|line| line.len() <= 80));
    }

    #[test]
    fn json_has_every_key_also_where_nothing_is_known() {
        let info = SerialPortInfo { port_name: "/dev/no-such".to_owned(), port_type: SerialPortType::Unknown };
        let list = List { schema: 1, ports: vec![port(info, &[])] };
        assert_eq!(
            serde_json::to_string(&list).unwrap(),
            r#"{"schema":1,"ports":[{"source":"serial:/dev/no-such","device":"/dev/no-such","by_id":null,"kind":"unknown","usb":null,"readable":null,"group":null}]}"#
        );
    }

    #[test]
    fn links_lead_to_devices() {
        assert_eq!(links(Path::new("/no/such/folder")), []);
    }
}
