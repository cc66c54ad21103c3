//! How labels stand on a sheet of A4: rows and columns, sizes, margins and gaps
//! in millimetres, with the grids that sheets are commonly sold in. It draws
//! nothing.

/// A4 in millimetres.
const A4: [f64; 2] = [210.0, 297.0];
/// Points in a millimetre.
const POINTS: f64 = 72.0 / 25.4;
/// The smallest label that has room for a code and words beside it, in
/// millimetres.
const SMALLEST: [f64; 2] = [30.0, 12.0];

/// A sheet of labels; lengths are millimetres, across first and then down.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct LabelSheet {
    /// Labels beside and below each other.
    pub count: [u8; 2],
    /// Size of a label.
    pub size: [f64; 2],
    /// From the sheet's left and top edge to the first label.
    pub margin: [f64; 2],
    /// Between two labels.
    pub gap: [f64; 2],
    /// Places at the start of the first sheet that are used up.
    pub skip: u8,
}

/// What of a sheet is stated; the rest is that of the grid it begins with.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct StatedSheet {
    /// Labels beside each other.
    pub columns: Option<u8>,
    /// Labels below each other.
    pub rows: Option<u8>,
    /// Width of a label.
    pub width: Option<f64>,
    /// Height of a label.
    pub height: Option<f64>,
    /// From the sheet's left edge to the first label.
    pub left: Option<f64>,
    /// From its top edge.
    pub top: Option<f64>,
    /// Between two labels beside each other.
    pub across: Option<f64>,
    /// Between two labels below each other.
    pub down: Option<f64>,
}

/// Why labels cannot stand so.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum SheetFault {
    /// No row or no column.
    #[error("a sheet has at least one column and one row")]
    Empty,
    /// A length is below zero or no number.
    #[error("a length is a number of millimetres, zero or more")]
    Length,
    /// A label has no room for its code.
    #[error("a label of {0} mm by {1} mm has no room for its code; the smallest is 30 mm by 12 mm")]
    TooSmall(f64, f64),
    /// They do not fit on the sheet.
    #[error("these labels take {0} mm of the sheet's {1} mm {2}")]
    TooLarge(f64, f64, &'static str),
}

impl LabelSheet {
    /// Grids that sheets are commonly sold in, named by the size of a label in
    /// millimetres (common practice, no source): 24 labels without gaps, and 21
    /// with gaps between the columns.
    pub const COMMON: [(&'static str, Self); 2] = [
        (
            "70x37",
            Self {
                count: [3, 8],
                size: [70.0, 37.0],
                margin: [0.0, 0.5],
                gap: [0.0, 0.0],
                skip: 0,
            },
        ),
        (
            "63.5x38.1",
            Self {
                count: [3, 7],
                size: [63.5, 38.1],
                margin: [7.25, 15.15],
                gap: [2.5, 0.0],
                skip: 0,
            },
        ),
    ];

    /// This sheet with what is stated in place of its own. Where margins are
    /// stated and sizes are not, labels share what the other edge leaves.
    ///
    /// # Errors
    /// A [`SheetFault`] where labels cannot stand so.
    pub fn with(self, stated: &StatedSheet) -> Result<Self, SheetFault> {
        let count = [stated.columns, stated.rows];
        let (margin, gap) = ([stated.left, stated.top], [stated.across, stated.down]);
        let size = [stated.width, stated.height];
        let mut sheet = self;
        for edge in [0, 1] {
            sheet.count[edge] = count[edge].unwrap_or(self.count[edge]);
            sheet.margin[edge] = margin[edge].unwrap_or(self.margin[edge]);
            sheet.gap[edge] = gap[edge].unwrap_or(self.gap[edge]);
            let places = f64::from(sheet.count[edge].max(1));
            let own = count[edge].is_none() && margin[edge].is_none() && gap[edge].is_none();
            let left = A4[edge] - 2.0 * sheet.margin[edge] - (places - 1.0) * sheet.gap[edge];
            let shared = if own { self.size[edge] } else { left / places };
            sheet.size[edge] = size[edge].unwrap_or(shared);
        }
        sheet.checked()
    }

    fn checked(self) -> Result<Self, SheetFault> {
        if self.count.contains(&0) {
            return Err(SheetFault::Empty);
        }
        let lengths = [self.size, self.margin, self.gap].concat();
        if lengths.iter().any(|length| !length.is_finite()) {
            return Err(SheetFault::Length);
        }
        if [self.margin, self.gap]
            .concat()
            .iter()
            .any(|length| *length < 0.0)
        {
            return Err(SheetFault::Length);
        }
        if self.size[0] < SMALLEST[0] || self.size[1] < SMALLEST[1] {
            return Err(SheetFault::TooSmall(self.size[0], self.size[1]));
        }
        for (edge, direction) in [(0, "across"), (1, "down")] {
            let places = f64::from(self.count[edge]);
            let taken =
                self.margin[edge] + places * self.size[edge] + (places - 1.0) * self.gap[edge];
            // What is stated to a tenth of a millimetre may exceed the sheet by it.
            if taken > A4[edge] + 0.1 {
                return Err(SheetFault::TooLarge(taken, A4[edge], direction));
            }
        }
        Ok(self)
    }

    /// Labels on a whole sheet.
    pub(super) fn places(&self) -> usize {
        usize::from(self.count[0]) * usize::from(self.count[1])
    }

    /// Size of a label in points.
    pub(super) fn points(&self) -> (f64, f64) {
        (self.size[0] * POINTS, self.size[1] * POINTS)
    }

    /// Left and top edge of the label at `place` in points, rows first.
    pub(super) fn corner(&self, place: usize) -> (f64, f64) {
        let columns = usize::from(self.count[0]);
        let at = |edge: usize, index: usize| {
            POINTS * (self.margin[edge] + index as f64 * (self.size[edge] + self.gap[edge]))
        };
        (at(0, place % columns), at(1, place / columns))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn common_grids_fill_their_sheet_and_stated_ones_are_checked() {
        for (name, sheet) in LabelSheet::COMMON {
            assert_eq!(sheet.with(&StatedSheet::default()), Ok(sheet), "{name}");
            let (x, y) = sheet.corner(sheet.places() - 1);
            let (width, height) = sheet.points();
            assert!(x + width <= 595.28 && y + height <= 841.9, "{name}");
        }
        let [(_, first), _] = LabelSheet::COMMON;
        let of = |columns, rows| StatedSheet {
            columns: Some(columns),
            rows: Some(rows),
            ..StatedSheet::default()
        };
        let shared = first.with(&of(2, 5)).expect("they share the sheet");
        assert_eq!(shared.size, [105.0, (297.0 - 1.0) / 5.0]);
        assert_eq!(first.with(&of(0, 5)), Err(SheetFault::Empty));
        assert!(matches!(
            first.with(&of(9, 5)),
            Err(SheetFault::TooSmall(..))
        ));
        let wide = StatedSheet {
            width: Some(80.0),
            ..StatedSheet::default()
        };
        assert_eq!(
            first.with(&wide),
            Err(SheetFault::TooLarge(240.0, 210.0, "across"))
        );
        let negative = StatedSheet {
            left: Some(-1.0),
            ..StatedSheet::default()
        };
        assert_eq!(first.with(&negative), Err(SheetFault::Length));
    }
}
