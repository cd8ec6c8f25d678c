//! The recording as the page reaches it: a relative address beside the page,
//! or a small copy inside it.

use std::path::{Component, Path, PathBuf};

/// The address of `file` as seen from a page in `folder`. Where there is no
/// way from one to the other (another drive), the file's whole address.
pub fn relative(file: &Path, folder: &Path) -> String {
    let (file, folder) = (absolute(file), absolute(folder));
    let to: Vec<Component> = file.components().collect();
    let from: Vec<Component> = folder.components().collect();
    let shared = to.iter().zip(&from).take_while(|(a, b)| a == b).count();
    if shared == 0 {
        return format!("file://{}", address(&file));
    }
    let mut way: PathBuf = std::iter::repeat_n("..", from.len() - shared).collect();
    way.extend(&to[shared..]);
    address(&way)
}

/// The whole path without links, also of what does not exist yet.
fn absolute(path: &Path) -> PathBuf {
    let path = std::path::absolute(path).unwrap_or_else(|_| path.to_path_buf());
    for ancestor in path.ancestors() {
        if let (Ok(real), Ok(rest)) = (ancestor.canonicalize(), path.strip_prefix(ancestor)) {
            return if rest.as_os_str().is_empty() {
                real
            } else {
                real.join(rest)
            };
        }
    }
    path
}

/// A path as an address: everything but unreserved characters and slashes
/// is percent-encoded (RFC 3986, section 2).
fn address(path: &Path) -> String {
    let mut address = String::new();
    for (i, component) in path.components().enumerate() {
        if i > 0 && !address.ends_with('/') {
            address.push('/');
        }
        match component {
            Component::RootDir => address.push('/'),
            other => {
                for byte in other.as_os_str().as_encoded_bytes() {
                    match byte {
                        b'A'..=b'Z' | b'a'..=b'z' | b'0'..=b'9' | b'-' | b'.' | b'_' | b'~' => {
                            address.push(char::from(*byte));
                        }
                        _ => address.push_str(&format!("%{byte:02X}")),
                    }
                }
            }
        }
    }
    // A first part with a colon would read as a scheme; none is left unescaped.
    address
}

/// An address with its percent-encoding taken out, for reading.
pub fn readable(address: &str) -> String {
    let mut bytes = Vec::new();
    let mut rest = address.as_bytes();
    while let Some((first, after)) = rest.split_first() {
        let code = (*first == b'%').then(|| after.get(..2)).flatten();
        let code = code.and_then(|hex| std::str::from_utf8(hex).ok());
        if let Some(byte) = code.and_then(|hex| u8::from_str_radix(hex, 16).ok()) {
            bytes.push(byte);
            rest = &after[2..];
        } else {
            bytes.push(*first);
            rest = after;
        }
    }
    super::lettering::harmless(&String::from_utf8_lossy(&bytes))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_address_is_relative_and_safe() {
        let address = relative(
            Path::new("/nowhere/takes/a #1 \"x\" ü.m4a"),
            Path::new("/nowhere/reports/a"),
        );
        assert_eq!(address, "../../takes/a%20%231%20%22x%22%20%C3%BC.m4a");
        assert_eq!(readable(&address), "../../takes/a #1 \"x\" ü.m4a");
        let inside = relative(Path::new("/nowhere/a/x:y.wav"), Path::new("/nowhere/a"));
        assert_eq!(inside, "x%3Ay.wav");
    }
}
