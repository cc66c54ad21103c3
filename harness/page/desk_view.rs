//! What the person is asked next: a serial number, a word that starts a board, a step or a
//! reading, why a board is tested again. It takes no answer.

use super::markup::Markup;
use super::stage::{Phase, Question, Stage};
use crate::console::{CAUTIONS, minutes};

/// What is asked, as it stands.
pub(super) fn desk(stage: &Stage) -> Markup {
    if let Some(question) = &stage.question {
        return asked(question);
    }
    match &stage.phase {
        Phase::Closed => {
            Markup::of("<h2>No bench is open</h2><p>Choose plan, bench and lot above.</p>")
        }
        Phase::Opening => Markup::of(
            "<h2>Opening the bench</h2><p role=\"status\">The files are read and every instrument \
             is asked who it is.</p>",
        ),
        Phase::Ready => ready(stage),
        Phase::Refused { serial, why } => {
            let mut out = Markup::default();
            out.put(
                "<h2>{} is not run</h2><p class=\"told\" role=\"alert\">{}.</p>\
                 <form data-send=\"/board\" autocomplete=\"off\"><input type=\"hidden\" name=\"serial\" value=\"{}\">\
                 <label>Why is it tested again?<input name=\"retest\" required maxlength=\"200\" data-focus></label>\
                 <p class=\"row\"><button class=\"go\">Test it again</button>\
                 <button type=\"button\" data-post=\"/leave\">Leave it out</button></p></form>",
                &[serial, why, serial],
            );
            out
        }
        Phase::Confirming {
            serial,
            nonce,
            retest,
        } => confirming(stage, serial.as_str(), nonce, retest.as_deref()),
        Phase::Running => Markup::of(
            "<h2>A board runs</h2><p>Hands out of the fixture. Escape, the foot switch or the \
             button stops it and makes the bench safe.</p>",
        ),
        Phase::Stopping => {
            Markup::of("<h2>Stopping</h2><p role=\"status\">The bench is being made safe.</p>")
        }
    }
}

fn ready(stage: &Stage) -> Markup {
    let mut out = Markup::default();
    out.raw(
        "<h2><label for=\"serial\">Serial number of the next board</label></h2>\
         <form data-send=\"/board\" autocomplete=\"off\" class=\"scan\">\
         <input id=\"serial\" name=\"serial\" required maxlength=\"64\" spellcheck=\"false\" \
         autocapitalize=\"off\" data-focus aria-describedby=\"said\">",
    );
    let real = stage.sitting.as_ref().is_some_and(|sitting| sitting.real);
    out.raw(match real {
        true => "<button class=\"go\">Next</button></form>",
        false => "<button class=\"go\">Run</button></form>",
    });
    match &stage.said {
        Some(said) => {
            out.put(
                "<p id=\"said\" class=\"told\" role=\"alert\">{}</p>",
                &[said],
            );
        }
        None => {
            out.raw("<p id=\"said\">Scan its label, or type it and press Enter.</p>");
        }
    }
    out
}

fn confirming(stage: &Stage, serial: &str, nonce: &str, retest: Option<&str>) -> Markup {
    let mut out = Markup::default();
    out.put("<h2>{}: in the fixture, all hands out?</h2>", &[&serial]);
    if let Some(why) = retest {
        out.put("<p>Tested again: {}</p>", &[&why]);
    }
    if let Some(sitting) = &stage.sitting {
        out.put("<p>It takes {}.</p>", &[&minutes(sitting.expected)]);
    }
    out.put(
        "<p class=\"row\"><button class=\"go\" data-post=\"/start\" data-nonce=\"{}\" data-focus>Start</button>\
         <button data-post=\"/leave\">Leave it out</button></p>",
        &[&nonce],
    );
    out
}

fn asked(question: &Question) -> Markup {
    let mut out = Markup::default();
    out.put(
        "<h2>For you to do</h2><p class=\"task\" role=\"alert\">{}</p>\
         <form data-send=\"/answer\" autocomplete=\"off\"><input type=\"hidden\" name=\"question\" value=\"{}\">",
        &[&question.what, &question.number],
    );
    if question.is_reading {
        out.raw(
            "<label>What it reads<input name=\"typed\" required maxlength=\"64\" data-focus></label>\
             <p class=\"row\"><button class=\"go\">Enter</button></p>",
        );
    } else {
        out.raw(
            "<p class=\"row\"><button class=\"go\" name=\"typed\" value=\"done\" data-focus>It is done</button>\
             <button name=\"typed\" value=\"not done\">It cannot be done</button></p>",
        );
    }
    out.put(
        "</form><p>Waits for <span class=\"clock\" data-until=\"{}\">&nbsp;</span></p>",
        &[&question.until.as_millisecond()],
    );
    out
}

/// The cautions of a real bench, to be confirmed before it is opened.
pub(super) fn cautions() -> Markup {
    let mut out = Markup::default();
    out.raw("<ul class=\"cautions\">");
    for caution in CAUTIONS {
        out.put("<li>{}</li>", &[caution]);
    }
    out.raw("</ul>");
    out
}
