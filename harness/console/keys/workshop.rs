//! Pages of the keys of a workshop's own file. How it is read stands in `workshop`.

use super::page::{Page, page};

pub(super) const PAGES: &[Page] = &[
    page(
        "format",
        "the format of the file. There is one.",
        "format = 1",
    ),
    page(
        "issuer.name",
        "who issues the papers. Without the table they name nobody.",
        "[issuer]\nname = \"Alder Lane Works\"",
    ),
    page(
        "issuer.address",
        "where the issuer is and how to reach it, a line each.",
        "[issuer]\naddress = [\"Alder Lane 3\", \"mail: post at alder-lane.example\"]",
    ),
    page(
        "issuer.logo",
        "a picture at the head of the papers: a file beside this one that ends in .svg or .png. An SVG is drawn from its paths, shapes, colours, gradients and clip paths; a text in it is to be turned into paths.",
        "[issuer]\nlogo = \"logo.png\"",
    ),
    page(
        "issuer.signature",
        "what stands below the line for a signature. Without it there is no line.",
        "[issuer]\nsignature = \"for the workshop\"",
    ),
    page(
        "defaults.operator",
        "who runs the tests, where `--operator` says nothing.",
        "[defaults]\noperator = \"R. T.\"",
    ),
    page(
        "defaults.lot",
        "the lot, where `--lot` says nothing: a name, or a lot file beside this one.",
        "[defaults]\nlot = \"lot.toml\"",
    ),
    page(
        "defaults.records",
        "the folder of the records, beside this file, where `--out` says nothing.",
        "[defaults]\nrecords = \"reports\"",
    ),
];
