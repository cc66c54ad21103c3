//! Pages of the keys of a lot. How it is read stands in `plan::lot`.

use super::page::{Page, page};

pub(super) const PAGES: &[Page] = &[
    page(
        "format",
        "the format of the file. There is one.",
        "format = 1",
    ),
    page(
        "lot.name",
        "the name of the lot: letters, digits, '-', '_' and '.'.",
        "[lot]\nname = \"GR-2026-03\"",
    ),
    page(
        "lot.family",
        "the family of its boards, as in the plan.",
        "[lot]\nfamily = \"garden booster\"",
    ),
    page(
        "lot.revision",
        "the revision of its boards, as in the plan.",
        "[lot]\nrevision = \"2\"",
    ),
    page(
        "lot.firmware",
        "the firmware on its boards.",
        "[lot]\nfirmware = \"1.4\"",
    ),
    page(
        "lot.jumpers",
        "how its boards are set.",
        "[lot]\njumpers = \"JP1 open, JP2 closed\"",
    ),
    page(
        "lot.check_standard",
        "the serial number of a board that is measured along with each lot, to tell a lot \
         that moved from a bench that moved.",
        "[lot]\ncheck_standard = \"GR-REF\"",
    ),
    page(
        "parts.PLACE",
        "what part stands in this place of the boards, with its batch. Lots are compared \
         part by part.",
        "[parts]\nU4 = \"current sensor, 0.25 V/A, batch 2622\"",
    ),
];
