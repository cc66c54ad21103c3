//! The workshop's logo as an SVG on paper: drawn by a reader that nobody here wrote, each
//! colour where the file says; and what cannot be drawn, named at its line and column.

use crate::poppler::{Sheet, sheets};
use crate::records::{Shelf, fixture};

/// Shapes whose places and colours are read off the file (SVG 2; sRGB).
const LOGO: &str = r##"<?xml version="1.0" encoding="UTF-8"?>
<!DOCTYPE svg PUBLIC "-//W3C//DTD SVG 1.1//EN" "http://www.w3.org/Graphics/SVG/1.1/DTD/svg11.dtd">
<svg xmlns="http://www.w3.org/2000/svg" xmlns:xlink="http://www.w3.org/1999/xlink" viewBox="10 20 200 80">
  <style>.blue { stroke: #0000c0 }</style>
  <defs>
    <linearGradient id="fade"><stop offset="0" stop-color="#000"/><stop offset="1" stop-color="#fff"/></linearGradient>
    <clipPath id="round"><circle cx="185" cy="70" r="10"/></clipPath>
    <rect id="square" width="40" height="40"/>
  </defs>
  <g transform="translate(10 20)"><use xlink:href="#square" fill="#c00000"/></g>
  <circle class="blue" cx="90" cy="40" r="16" fill="none" stroke-width="8"/>
  <rect x="120" y="20" width="80" height="20" fill="url(#fade)"/>
  <path d="M120 50h40v40h-40z M130 60h20v20h-20z" fill="#008000" fill-rule="evenodd"/>
  <rect x="165" y="50" width="40" height="40" fill="#ff8000" clip-path="url(#round)"/>
  <g opacity="0.5"><rect x="20" y="70" width="30" height="25"/></g>
  <rect x="205" y="60" width="60" height="20" fill="#00ffff"/>
</svg>
"##;

/// Papers of a workshop with that logo, and a board's.
fn workshop(logo: &[u8]) -> Shelf {
    let shelf = Shelf::new();
    let file = "format = 1\n[issuer]\nname = \"Alder Lane Works\"\nlogo = \"logo.svg\"\n";
    std::fs::write(shelf.path("bufferstop.toml"), file).expect("room");
    std::fs::write(shelf.path("logo.svg"), logo).expect("room");
    shelf
}

#[test]
fn an_svg_is_drawn_on_paper_as_its_file_says() {
    let shelf = workshop(LOGO.as_bytes());
    shelf.accept("L1", &[]);
    let paper = shelf.certificate("L1", "paper.pdf");
    let Some(sheets) = sheets(&paper, 144, &["-singlefile"]) else {
        return;
    };
    let Sheet {
        width,
        dots: pixels,
        ..
    } = &sheets[0];
    // Two pixels a point. The logo stands at 42 points from left and top and is 42 points
    // high: 0.525 points for each of its 80 units.
    let colour = |x: f64, y: f64| {
        let place = |from: f64, at: f64| (2.0 * (42.0 + 0.525 * (at - from))) as usize;
        let at = 3 * (place(20.0, y) * width + place(10.0, x));
        [pixels[at], pixels[at + 1], pixels[at + 2]]
    };
    let white = [255; 3];
    for (what, x, y, wanted) in [
        ("a moved square", 30.0, 40.0, [192, 0, 0]),
        ("a ring", 90.0, 24.0, [0, 0, 192]),
        ("within the ring", 90.0, 40.0, white),
        ("the middle of a gradient", 160.0, 30.0, [127; 3]),
        ("its dark end", 122.0, 30.0, [6; 3]),
        ("a frame by even and odd", 125.0, 70.0, [0, 128, 0]),
        ("within that frame", 140.0, 70.0, white),
        ("what a clip path leaves", 185.0, 70.0, [255, 128, 0]),
        ("what it cuts off", 168.0, 53.0, white),
        ("black, half transparent", 35.0, 85.0, [127; 3]),
        ("beyond the picture", 215.0, 70.0, white),
        ("within its edge", 207.5, 70.0, [0, 255, 255]),
    ] {
        let found = colour(x, y);
        let near = found
            .iter()
            .zip(wanted)
            .all(|(found, wanted)| found.abs_diff(wanted) <= 4);
        assert!(near, "{what}: {found:?} for {wanted:?}");
    }
}

#[test]
fn an_svg_that_paper_cannot_show_is_named_at_its_place() {
    let text = LOGO.replace("<g opacity", "<text y=\"30\">ABC</text><g opacity");
    let cut = LOGO.replace("</g>\n  <rect x=\"205\"", "\n  <rect x=\"205\"");
    let cases: [(&[u8], &[&str]); 4] = [
        (
            text.as_bytes(),
            &["line 15, column 3", "<text>", "letters into paths"],
        ),
        (cut.as_bytes(), &["line 17, column 1", "no sound SVG"]),
        (b"\xff\xfe<svg/>", &["not written in UTF-8"]),
        (b"GIF89a", &["line 1, column 1", "no sound SVG"]),
    ];
    let plan = fixture("plan.toml");
    let plan = plan.to_str().expect("a plain path");
    for (logo, wanted) in cases {
        let shelf = workshop(logo);
        let done = shelf.command(&["accept", plan, "--serial", "L2"]);
        let said = String::from_utf8_lossy(&done.stderr);
        // Nothing was begun, and nothing lost.
        assert_eq!(done.status.code(), Some(65), "{said}");
        assert!(!shelf.path("reports/L2").exists(), "{said}");
        for word in wanted.iter().chain(&["logo.svg", "bufferstop.toml"]) {
            assert!(said.contains(word), "{word} is not in {said}");
        }
    }
}
