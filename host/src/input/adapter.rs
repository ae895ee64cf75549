//! Which adapter a serial device was, so that it is found again under another name.
//!
//! An adapter that is pulled out and plugged in again may come back as another `/dev/ttyUSB`, and
//! another one may have its old name. The system keeps a link to each by what it says of itself; the link
//! is remembered when the device is opened.

use std::fs;
use std::path::Path;
use std::path::PathBuf;

/// Where the system keeps a link to each adapter by its identity.
pub(crate) const BY_ID: &str = "/dev/serial/by-id";

/// A serial device and which adapter it is.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) struct Adapter {
    device: String,
    /// The link to it by its identity, where the system keeps one.
    link: Option<PathBuf>,
}

impl Adapter {
    /// The adapter that is `device` now, by the links in `folder`.
    pub(crate) fn of(device: &str, folder: &Path) -> Self {
        let device = device.to_owned();
        let path = Path::new(&device);
        // One that was named by its identity needs no other.
        if path.starts_with(folder) {
            return Self { device, link: None };
        }
        let link = fs::canonicalize(path).ok().and_then(|real| {
            let mut links: Vec<PathBuf> =
                fs::read_dir(folder).into_iter().flatten().flatten().map(|e| e.path()).collect();
            links.sort();
            links.into_iter().find(|link| fs::canonicalize(link).is_ok_and(|to| to == real))
        });
        Self { device, link }
    }

    /// Where it is now.
    ///
    /// # Errors
    /// It is not plugged in, whatever has its old name now; with the remedy.
    pub(crate) fn place(&self) -> Result<String, String> {
        let Some(link) = &self.link else { return Ok(self.device.clone()) };
        if link.exists() {
            return Ok(link.display().to_string());
        }
        let name = link.file_name().unwrap_or_default().to_string_lossy().into_owned();
        Err(if Path::new(&self.device).exists() {
            format!("{} is another adapter now; plug in the one that was there before, {name}", self.device)
        } else {
            format!("the adapter {name} is not plugged in; plug it in again, wherever there is room")
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::os::unix::fs::symlink;

    #[test]
    fn an_adapter_is_found_again_under_another_name_and_another_one_is_not_taken_for_it() {
        let root = std::env::temp_dir().join(format!("lubber-adapter-{}", std::process::id()));
        let _ = fs::remove_dir_all(&root);
        let by_id = root.join("by-id");
        fs::create_dir_all(&by_id).unwrap();
        let device = |n: u32| root.join(format!("ttyUSB{n}"));
        fs::write(device(0), "").unwrap();
        symlink(device(0), by_id.join("usb-Maker_Cable_A1-if00")).unwrap();
        let name = device(0).display().to_string();
        let adapter = Adapter::of(&name, &by_id);
        let link = by_id.join("usb-Maker_Cable_A1-if00").display().to_string();
        assert_eq!(adapter.place(), Ok(link.clone()));

        // Pulled out: its link goes with it. Then another one takes its name.
        fs::remove_file(by_id.join("usb-Maker_Cable_A1-if00")).unwrap();
        fs::remove_file(device(0)).unwrap();
        assert!(adapter.place().unwrap_err().contains("usb-Maker_Cable_A1-if00 is not plugged in"));
        fs::write(device(0), "").unwrap();
        symlink(device(0), by_id.join("usb-Other_B2-if00")).unwrap();
        assert!(adapter.place().unwrap_err().contains("is another adapter now"));

        // It comes back beside the other one.
        fs::write(device(1), "").unwrap();
        symlink(device(1), by_id.join("usb-Maker_Cable_A1-if00")).unwrap();
        assert_eq!(adapter.place(), Ok(link.clone()));
        assert_eq!(fs::canonicalize(&link).unwrap(), fs::canonicalize(device(1)).unwrap());

        // Without a link, or named by it, the name is all there is.
        let unknown = Adapter::of(&root.join("ttyS0").display().to_string(), &by_id);
        assert_eq!(unknown.place(), Ok(root.join("ttyS0").display().to_string()));
        assert_eq!(Adapter::of(&link, &by_id).place(), Ok(link));
        fs::remove_dir_all(&root).unwrap();
    }
}
