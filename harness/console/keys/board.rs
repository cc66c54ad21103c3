//! Pages of the keys of a model board. How it is read stands in `model_board`.

use super::page::{Page, page};

pub(super) const PAGES: &[Page] = &[
    page(
        "format",
        "the format of the file. There is one.",
        "format = 1",
    ),
    page(
        "board.name",
        "what a person calls the model board.",
        "[board]\nname = \"my booster, revision 1\"",
    ),
    page(
        "board.family",
        "the family of boards that it models, as in `[plan]`: a plan for another one is not \
         run on it. Without it nothing is compared.",
        "[board]\nfamily = \"my booster\"",
    ),
    page(
        "board.identity",
        "what its console answers when it is asked what it is. Without it the console \
         claims no revision.",
        "[board]\nidentity = \"booster GR3 rev 2 firmware 1.4\"",
    ),
    page(
        "nominal.PARAMETER",
        "a parameter of the model board, where it is not the usual one; a misspelt name \
         lists all.",
        "[nominal]\ntrip_current = \"4 A\"",
    ),
    page(
        "spread.PARAMETER",
        "the relative standard deviation of a parameter from board to board.",
        "[spread]\ntrip_current = \"1.2 %\"",
    ),
    page(
        "defect.kind",
        "a defect that is planted; a misspelt kind lists all.",
        "[[defect]]\nkind = \"cold joint\"",
    ),
    page(
        "defect.boards",
        "the boards of the lot that carry it, by number. Without it none, unless it is \
         asked for by name.",
        "[[defect]]\nkind = \"cold joint\"\nboards = [9]",
    ),
];
