//! Which paths a source file names, read from its text as words: enough for
//! rules about who uses whom. It knows no types and follows no method.

use std::collections::{BTreeMap, BTreeSet};

/// A path as segments, counted from the crate's root for the crate's own.
pub(super) type Path = Vec<String>;

/// Re-exports are followed no deeper.
const DEEPEST: usize = 8;

/// What one file says.
pub(super) struct Source {
    /// As it is named in messages: `store/writer.rs`.
    pub(super) name: String,
    /// The paths it uses, and whether each is the crate's own.
    uses: Vec<(Path, bool)>,
    /// Names it hands on, and what they stand for.
    handed_on: BTreeMap<String, Path>,
    /// Whole modules it hands on.
    all_of: Vec<Path>,
    defines: BTreeSet<String>,
}

/// Every file of the crate by its module path.
pub(super) struct Crate {
    files: BTreeMap<Path, Source>,
}

impl Crate {
    /// From file names below the source folder, such as `store/mod.rs`, and
    /// their texts.
    pub(super) fn of<'a>(texts: impl IntoIterator<Item = (String, &'a str)>) -> Self {
        let texts: BTreeMap<Path, (String, &str)> = texts
            .into_iter()
            .map(|(name, text)| (module_of(&name), (name, text)))
            .collect();
        let modules: BTreeSet<Path> = texts.keys().cloned().collect();
        let files = texts
            .into_iter()
            .map(|(module, (name, text))| {
                let source = Source::read(&module, name, text, &modules);
                (module, source)
            })
            .collect();
        Self { files }
    }

    pub(super) fn files(&self) -> impl Iterator<Item = (&Path, &Source)> {
        self.files.iter()
    }

    pub(super) fn file(&self, module: &Path) -> &Source {
        &self.files[module]
    }

    /// Every path that a file uses with the file of the crate that defines what
    /// it names; `None` for what is not the crate's.
    pub(super) fn used_by(&self, module: &Path) -> Vec<(&Path, Option<Path>)> {
        let uses = &self.files[module].uses;
        uses.iter()
            .map(|(path, own)| {
                let home = if *own { self.home(path, 0) } else { None };
                (path, home)
            })
            .collect()
    }

    /// The same with what the file only hands on.
    pub(super) fn named_by<'a>(&'a self, module: &Path) -> Vec<(&'a Path, Option<Path>)> {
        let file = &self.files[module];
        let handed_on = file.handed_on.values().chain(&file.all_of);
        let mut named = self.used_by(module);
        named.extend(handed_on.map(|path| (path, self.home(path, 0))));
        named
    }

    /// The file that defines what `path` names; what a file hands on is
    /// followed to where it comes from.
    fn home(&self, path: &Path, depth: usize) -> Option<Path> {
        if depth > DEEPEST {
            return None;
        }
        let length = (1..=path.len())
            .rev()
            .find(|n| self.files.contains_key(&path[..*n]))?;
        let (module, rest) = path.split_at(length);
        let file = &self.files[module];
        let Some(first) = rest.first() else {
            return Some(module.to_vec());
        };
        let onward = |to: &Path, rest: &[String]| {
            let path = to.iter().chain(rest).cloned().collect();
            self.home(&path, depth + 1)
        };
        if let Some(to) = file.handed_on.get(first) {
            return onward(to, &rest[1..]);
        }
        if !file.defines.contains(first) && first != "*" {
            let found = file.all_of.iter().find_map(|to| {
                let home = onward(to, rest)?;
                self.files[&home].defines.contains(first).then_some(home)
            });
            if found.is_some() {
                return found;
            }
        }
        Some(module.to_vec())
    }
}

/// `store/mod.rs` is `store`, `store/writer.rs` is `store::writer`.
fn module_of(name: &str) -> Path {
    let stem = name.strip_suffix(".rs").unwrap_or(name);
    let stem = stem.strip_suffix("/mod").unwrap_or(stem);
    stem.split('/').map(str::to_owned).collect()
}

impl Source {
    fn read(module: &Path, name: String, text: &str, modules: &BTreeSet<Path>) -> Self {
        let words = words(text);
        let mut source = Self {
            name,
            uses: Vec::new(),
            handed_on: BTreeMap::new(),
            all_of: Vec::new(),
            defines: BTreeSet::new(),
        };
        let mut at = 0;
        while at < words.len() {
            let word = words[at].as_str();
            if DEFINING.contains(&word)
                && let Some(next) = words.get(at + 1)
            {
                source.defines.insert(next.clone());
            }
            // `use<'a>` says what a returned type captures.
            let imports = word == "use" && words.get(at + 1).is_some_and(|next| next != "<");
            if imports {
                let public = at > 0 && matches!(words[at - 1].as_str(), "pub" | ")");
                let mut leaves = Vec::new();
                at = tree(&words, at + 1, &Vec::new(), &mut leaves);
                for (path, alias) in leaves {
                    source.take(module, &path, modules, public.then_some(alias));
                }
                continue;
            }
            if !is_name(word) || (at > 0 && matches!(words[at - 1].as_str(), "::" | "$")) {
                at += 1;
                continue;
            }
            let mut path = vec![word.to_owned()];
            at += 1;
            while words.get(at).is_some_and(|word| word == "::")
                && let Some(next) = words.get(at + 1).filter(|next| is_name(next))
            {
                path.push(next.clone());
                at += 2;
            }
            if path.len() > 1 {
                source.take(module, &path, modules, None);
            }
        }
        source
    }

    /// Notes a path as it is written; under a name where it is handed on.
    fn take(
        &mut self,
        module: &Path,
        written: &Path,
        modules: &BTreeSet<Path>,
        public: Option<String>,
    ) {
        let (path, own) = absolute(module, written, modules);
        match public {
            Some(name) if own && name == "*" => self.all_of.push(path[..path.len() - 1].to_vec()),
            Some(name) if own => {
                self.handed_on.insert(name, path);
            }
            // What other crates define is used, handed on or not.
            _ => self.uses.push((path, own)),
        }
    }
}

/// Words after which a name is defined.
const DEFINING: [&str; 9] = [
    "struct", "enum", "union", "trait", "fn", "const", "static", "type", "mod",
];

/// A written path from the crate's root, and whether it is the crate's own.
fn absolute(module: &Path, written: &Path, modules: &BTreeSet<Path>) -> (Path, bool) {
    let mut base: &[String] = module;
    let mut rest: &[String] = written;
    match rest[0].as_str() {
        "crate" => base = &[],
        "self" => {}
        "super" => {
            while rest.first().is_some_and(|word| word == "super") {
                base = &base[..base.len().saturating_sub(1)];
                rest = &rest[1..];
            }
            return (base.iter().chain(rest).cloned().collect(), true);
        }
        first => {
            let child: Path = base.iter().cloned().chain([first.to_owned()]).collect();
            if modules.contains(&child) {
                return (base.iter().chain(rest).cloned().collect(), true);
            }
            return (written.clone(), false);
        }
    }
    rest = &rest[1..];
    (base.iter().chain(rest).cloned().collect(), true)
}

/// Reads what stands behind `use` from `at`: every path in it with the name it
/// gets. Returns the place behind it.
fn tree(words: &[String], mut at: usize, before: &Path, leaves: &mut Vec<(Path, String)>) -> usize {
    let mut path = before.clone();
    while let Some(word) = words.get(at) {
        match word.as_str() {
            "{" => {
                at += 1;
                while let Some(word) = words.get(at) {
                    match word.as_str() {
                        "}" => return at + 1,
                        ";" => return at,
                        "," => at += 1,
                        _ => at = tree(words, at, &path, leaves),
                    }
                }
                return at;
            }
            "::" => at += 1,
            "as" => {
                let alias = words.get(at + 1).cloned().unwrap_or_default();
                leaves.push((path, alias));
                return at + 2;
            }
            "," | "}" | ";" => break,
            // Of a group: what stands before the group.
            "self" if path.len() > 1 => at += 1,
            _ => {
                path.push(word.clone());
                at += 1;
            }
        }
    }
    if let Some(name) = path.last().cloned() {
        leaves.push((path, name));
    }
    at
}

fn is_name(word: &str) -> bool {
    word.starts_with(|c: char| c.is_alphabetic() || c == '_')
}

/// The words of the code up to the file's own tests: names, `::`, and marks one
/// by one. Comments, texts, characters, lifetimes and `pub(in ...)` are left
/// out.
fn words(text: &str) -> Vec<String> {
    let code = text
        .find("#[cfg(test)]\nmod tests {")
        .map_or(text, |at| &text[..at]);
    let mut words: Vec<String> = Vec::new();
    let mut rest = code;
    while let Some(first) = rest.chars().next() {
        let length = if rest.starts_with("//") {
            rest.find('\n').unwrap_or(rest.len())
        } else if rest.starts_with("/*") {
            rest.find("*/").map_or(rest.len(), |at| at + 2)
        } else if rest.starts_with("pub(in ") {
            words.push("pub".to_owned());
            rest.find(')').map_or(rest.len(), |at| at + 1)
        } else if let Some(length) = raw_text(rest) {
            length
        } else if first == '"' {
            quoted(rest, '"')
        } else if first == '\'' {
            character(rest)
        } else if rest.starts_with("::") {
            words.push("::".to_owned());
            2
        } else if first.is_alphanumeric() || first == '_' {
            let end = rest.find(|c: char| !c.is_alphanumeric() && c != '_');
            let end = end.unwrap_or(rest.len());
            words.push(rest[..end].to_owned());
            end
        } else {
            if !first.is_whitespace() {
                words.push(first.to_string());
            }
            first.len_utf8()
        };
        rest = &rest[length..];
    }
    words
}

/// The length of a raw text at the beginning, if there is one.
fn raw_text(rest: &str) -> Option<usize> {
    let open = rest.strip_prefix("br").or(rest.strip_prefix('r'))?;
    let marks = open.len() - open.trim_start_matches('#').len();
    let body = open[marks..].strip_prefix('"')?;
    let end = format!("\"{}", "#".repeat(marks));
    let length = body.find(&end).map_or(body.len(), |at| at + end.len());
    Some(rest.len() - body.len() + length)
}

/// The length of what stands between two `mark`s, both included.
fn quoted(rest: &str, mark: char) -> usize {
    let mut escaped = false;
    for (at, c) in rest.char_indices().skip(1) {
        match c {
            _ if escaped => escaped = false,
            '\\' => escaped = true,
            c if c == mark => return at + c.len_utf8(),
            _ => {}
        }
    }
    rest.len()
}

/// The length of a character or of a lifetime.
fn character(rest: &str) -> usize {
    let mut inner = rest[1..].chars();
    match (inner.next(), inner.next()) {
        (Some('\\'), _) | (Some(_), Some('\'')) => quoted(rest, '\''),
        _ => {
            let end = rest[1..].find(|c: char| !c.is_alphanumeric() && c != '_');
            end.map_or(rest.len(), |at| at + 1)
        }
    }
}
