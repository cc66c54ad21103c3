//! Documents of invented runs and lots.

mod certificates;
mod lots;

use super::{Form, Handout, PdfFault};

impl Handout {
    fn html(&self) -> String {
        let bytes = self.bytes(Form::Html).expect("a page");
        String::from_utf8(bytes).expect("UTF-8")
    }

    fn pdf(&self) -> Result<Vec<u8>, PdfFault> {
        self.bytes(Form::Pdf)
    }
}
