//! The workshop's own file, `bufferstop.toml`: looked for in the working
//! directory and then upwards, so that it serves every folder below it. What it
//! says is used elsewhere; a logo is read here and drawn there.

use super::files::Files;
use super::hindrance::Hindrance;
use super::{logo, plain_file};
use crate::drawing::vector::Vector;
use crate::handout::{Letterhead, Logo};
use crate::ident::harmless;
use crate::workshop::{FILE, Workshop};
use std::path::{Path, PathBuf};

/// Folders looked into at most.
const DEEPEST: usize = 64;

/// Bytes of a logo at most.
const LARGEST_LOGO: u64 = 1 << 20;

/// What the workshop's file says, and where it lies: the names of files in it
/// are beside it.
#[derive(Clone, Debug, Default)]
pub struct OwnWorkshop {
    /// What it says; nothing where there is no such file.
    pub workshop: Workshop,
    /// Its folder.
    folder: PathBuf,
}

impl OwnWorkshop {
    /// Reads the nearest file, if there is one.
    ///
    /// Nothing where `files` has come to know of faults in it.
    pub fn nearest(files: &mut Files) -> Option<Self> {
        // A folder that cannot be named has none above it that could be.
        let from = std::env::current_dir().unwrap_or_default();
        let Some(path) = above(&from) else {
            return Some(Self::default());
        };
        let workshop = files.workshop(&path)?;
        (!files.any_error()).then(|| Self {
            workshop,
            folder: path.parent().map(Path::to_path_buf).unwrap_or_default(),
        })
    }

    /// The folder of the records: the one that was `stated`, else this file's, else
    /// the one that it is without either.
    pub fn records(&self, stated: Option<&Path>) -> PathBuf {
        let own = self.workshop.defaults.records.as_ref();
        let own = || own.map(|folder| self.folder.join(folder));
        let stated = stated.map(Path::to_path_buf).or_else(own);
        stated.unwrap_or_else(|| PathBuf::from("reports"))
    }

    /// The lot where none was stated: a name, or a lot file beside this one.
    pub fn lot(&self) -> Option<String> {
        let lot = self.workshop.defaults.lot.as_ref()?;
        if !is_lot_file(Path::new(lot)) {
            return Some(lot.clone());
        }
        // What cannot be said in Unicode is found wanting where it is opened.
        Some(self.folder.join(lot).to_string_lossy().into_owned())
    }

    /// Who issues papers, the logo read.
    ///
    /// # Errors
    /// [`Hindrance::File`], which says why the logo cannot be shown.
    pub fn letterhead(&self) -> Result<Option<Letterhead>, Hindrance> {
        let Some(issuer) = self.workshop.issuer.clone() else {
            return Ok(None);
        };
        let logo = issuer.logo.as_deref().map(|name| self.logo(name));
        let logo = logo.transpose()?;
        Ok(Some(Letterhead { issuer, logo }))
    }

    fn logo(&self, name: &str) -> Result<Logo, Hindrance> {
        let path = self.folder.join(name);
        let fault = |why: String| {
            Hindrance::File(format!(
                "{FILE}: the logo {} cannot be shown: {why}",
                harmless(&path.display().to_string())
            ))
        };
        let read = plain_file::read(&path, LARGEST_LOGO);
        let bytes = read.map_err(|trouble| fault(trouble.to_string()))?;
        if bytes.len() as u64 > LARGEST_LOGO {
            return Err(fault("it is larger than 1 MiB".to_owned()));
        }
        if path.extension().is_some_and(|ending| ending == "png") {
            return logo::of_png(&bytes).map(Logo::Png).map_err(fault);
        }
        let text = String::from_utf8(bytes);
        let text =
            text.map_err(|_| fault("it is no SVG: it is not written in UTF-8".to_owned()))?;
        let vector = Vector::new(&text);
        vector.map(Logo::Svg).map_err(|why| fault(why.to_string()))
    }
}

/// Whether a lot is named by its file.
pub fn is_lot_file(lot: &Path) -> bool {
    lot.extension().is_some_and(|ending| ending == "toml")
}

/// The nearest such file in `folder` or above it.
fn above(folder: &Path) -> Option<PathBuf> {
    let folders = folder.ancestors().take(DEEPEST);
    let mut paths = folders.map(|folder| folder.join(FILE));
    paths.find(|path| path.is_file())
}
