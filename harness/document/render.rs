//! Faults as text for people: the source line, a caret, what was expected and
//! a hint. It decides neither where the text goes nor whether colour is wanted.

use super::{Fault, Severity, Source};
use annotate_snippets::{AnnotationKind, Group, Level, Origin, Renderer, Snippet};

/// Faults shown at once; nobody reads on behind so many.
const MOST_SHOWN: usize = 50;

/// `faults` one below the other, with their lines from `sources`, coloured if
/// `colour`. A fault whose source is not among them is shown by place alone.
pub fn render(faults: &[Fault], sources: &[Source], colour: bool) -> String {
    let renderer = if colour {
        Renderer::styled()
    } else {
        Renderer::plain()
    };
    let mut text = String::new();
    for fault in faults.iter().take(MOST_SHOWN) {
        let source = sources.iter().find(|source| source.name == fault.file);
        text.push_str(&renderer.render(&[group(fault, source)]));
        text.push_str("\n\n");
    }
    if let Some(more) = faults
        .len()
        .checked_sub(MOST_SHOWN)
        .filter(|more| *more > 0)
    {
        text.push_str(&format!("and {more} more; mend these first\n\n"));
    }
    text
}

fn group<'a>(fault: &'a Fault, source: Option<&'a Source>) -> Group<'a> {
    let level = match fault.severity {
        Severity::Error => Level::ERROR,
        Severity::Warning => Level::WARNING,
    };
    let title = level.primary_title(&fault.message);
    let group = match source.filter(|source| source.text.get(fault.span.clone()).is_some()) {
        Some(source) => {
            let mut mark = AnnotationKind::Primary.span(fault.span.clone());
            if let Some(expected) = &fault.expected {
                mark = mark.label(format!("expected {expected}"));
            }
            title.element(
                Snippet::source(source.text.as_str())
                    .path(fault.file.as_str())
                    .annotation(mark),
            )
        }
        None => {
            let origin = Origin::path(fault.file.as_str())
                .line(fault.line)
                .char_column(fault.column);
            let group = title.element(origin);
            match &fault.expected {
                Some(expected) => {
                    group.element(Level::NOTE.message(format!("expected {expected}")))
                }
                None => group,
            }
        }
    };
    match &fault.hint {
        Some(hint) => group.element(Level::HELP.message(hint)),
        None => group,
    }
}
