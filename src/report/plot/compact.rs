//! The backend's SVG written shorter: neighbours that look the same become one path, with steps instead of places.
//! A page of many recordings loads and prints several times lighter. Nothing is left out, nothing moves.

use std::fmt::Write;

/// Larger squares are not marks, and stay rectangles.
const LARGEST_MARK: i64 = 24;

/// `body`: what stands between `<svg …>` and its end, one element a line, in whole pixels.
pub fn compact(body: &str) -> String {
    let mut out = String::with_capacity(body.len() / 2);
    let mut open: Option<Path> = None;
    for line in body.lines() {
        match Shape::read(line) {
            Some(shape) => {
                if open.as_ref().is_none_or(|path| path.style != shape.style) {
                    close(&mut open, &mut out);
                }
                let path = open.get_or_insert_with(|| Path::new(shape.style.clone()));
                shape.add_to(path);
            }
            None => {
                close(&mut open, &mut out);
                out.push_str(line);
                out.push('\n');
            }
        }
    }
    close(&mut open, &mut out);
    out
}

fn close(open: &mut Option<Path>, out: &mut String) {
    if let Some(path) = open.take() {
        // Writing to a string cannot fail.
        let _ = writeln!(out, "<path{} d=\"{}\"/>", path.style, path.data);
    }
}

struct Path {
    style: String,
    data: String,
    pen: (i64, i64),
}

impl Path {
    fn new(style: String) -> Self {
        Self {
            style,
            data: String::new(),
            pen: (0, 0),
        }
    }

    fn step(&mut self, letter: &str, to: (i64, i64)) {
        let (dx, dy) = (
            to.0.saturating_sub(self.pen.0),
            to.1.saturating_sub(self.pen.1),
        );
        let blank_before = if letter.is_empty() && dx >= 0 {
            " "
        } else {
            ""
        };
        let blank = if dy >= 0 { " " } else { "" };
        let _ = write!(self.data, "{letter}{blank_before}{dx}{blank}{dy}");
        self.pen = to;
    }
}

enum Form {
    /// A dot of the pen: its round cap is the mark.
    Dot(i64, i64),
    /// Upper left corner and side. Not the pen's square cap: PDF paints none on a dot (ISO 32000-1, 8.5.3.2).
    Square(i64, i64, i64),
    Ring(i64, i64, i64),
    Line(Vec<(i64, i64)>, bool),
}

struct Shape {
    style: String,
    form: Form,
}

impl Shape {
    /// `None` for what stays as it is.
    fn read(line: &str) -> Option<Self> {
        let (name, rest) = line.strip_prefix('<')?.split_once(' ')?;
        let attributes = attributes(rest.strip_suffix("/>")?)?;
        let text = |key: &str| attributes.iter().find(|a| a.0 == key).map(|a| a.1);
        let number = |key: &str| text(key)?.parse::<i64>().ok();
        // Attributes of the form are told by the path; all others are its looks.
        let style = |own: &[&str]| -> String {
            let looks = attributes.iter().filter(|a| !own.contains(&a.0));
            looks.map(|(k, v)| format!(" {k}=\"{v}\"")).collect()
        };
        let (style, form) = match name {
            "circle" => {
                let own = ["cx", "cy", "r"];
                let (x, y, r) = (number("cx")?, number("cy")?, number("r")?);
                if text("fill") == Some("none") {
                    (style(&own), Form::Ring(x, y, r))
                } else {
                    let looks = style(&["cx", "cy", "r", "fill", "stroke", "stroke-width"]);
                    let (colour, size) = (text("fill").unwrap_or("none"), 2 * r);
                    let pen = format!(
                        "{looks} fill=\"none\" stroke=\"{colour}\" stroke-width=\"{size}\" stroke-linecap=\"round\""
                    );
                    (pen, Form::Dot(x, y))
                }
            }
            "rect" => {
                let (x, y) = (number("x")?, number("y")?);
                let (width, height) = (number("width")?, number("height")?);
                if width != height || width > LARGEST_MARK {
                    return None;
                }
                (
                    style(&["x", "y", "width", "height"]),
                    Form::Square(x, y, width),
                )
            }
            "polyline" => (
                style(&["points"]),
                Form::Line(places(text("points")?)?, false),
            ),
            "polygon" => (
                style(&["points"]),
                Form::Line(places(text("points")?)?, true),
            ),
            _ => return None,
        };
        Some(Self { style, form })
    }

    fn add_to(self, path: &mut Path) {
        match self.form {
            Form::Dot(x, y) => {
                path.step("m", (x, y));
                path.data.push_str("h0");
            }
            Form::Square(x, y, side) => {
                path.step("m", (x, y));
                let _ = write!(path.data, "h{side}v{side}h-{side}z");
            }
            Form::Ring(x, y, r) => {
                path.step("m", (x - r, y));
                let _ = write!(
                    path.data,
                    "a{r} {r} 0 1 0 {} 0a{r} {r} 0 1 0-{} 0",
                    2 * r,
                    2 * r
                );
            }
            Form::Line(places, closed) => {
                let mut letter = "m";
                let start = places[0];
                for (i, place) in places.into_iter().enumerate() {
                    if i > 0 && place == path.pen {
                        continue;
                    }
                    path.step(letter, place);
                    letter = if i == 0 { "l" } else { "" };
                }
                if closed {
                    path.data.push('z');
                    path.pen = start;
                }
            }
        }
    }
}

fn attributes(text: &str) -> Option<Vec<(&str, &str)>> {
    let mut found = Vec::new();
    let mut rest = text.trim();
    while !rest.is_empty() {
        let (key, after) = rest.split_once("=\"")?;
        let (value, after) = after.split_once('"')?;
        found.push((key.trim(), value));
        rest = after.trim_start();
    }
    Some(found)
}

fn places(text: &str) -> Option<Vec<(i64, i64)>> {
    let places: Option<Vec<_>> = text
        .split_whitespace()
        .map(|place| {
            let (x, y) = place.split_once(',')?;
            Some((x.parse().ok()?, y.parse().ok()?))
        })
        .collect();
    places.filter(|places| places.len() > 1)
}

#[cfg(test)]
mod tests {
    use super::compact;

    #[test]
    fn neighbours_of_one_look_become_one_path() {
        let body = "<circle cx=\"10\" cy=\"20\" r=\"4\" opacity=\"0.4\" fill=\"#0072B2\"/>\n\
                    <circle cx=\"13\" cy=\"15\" r=\"4\" opacity=\"0.4\" fill=\"#0072B2\"/>\n\
                    <circle cx=\"13\" cy=\"15\" r=\"4\" opacity=\"0.4\" fill=\"#D55E00\"/>\n";
        let short = compact(body);
        assert_eq!(short.matches("<path").count(), 2);
        assert!(short.contains(
            "stroke=\"#0072B2\" stroke-width=\"8\" stroke-linecap=\"round\" d=\"m10 20h0m3-5h0\""
        ));
    }

    #[test]
    fn a_line_keeps_every_place() {
        let body = "<polyline fill=\"none\" stroke=\"#222222\" points=\"5,5 8,1 8,1 20,-3 \"/>\n\
                    <polyline fill=\"none\" stroke=\"#222222\" points=\"0,0 1,1 \"/>\n\
                    <polygon fill=\"#222222\" points=\"0,0 4,0 4,4 \"/>\n\
                    <polygon fill=\"#222222\" points=\"1,0 4,0 4,4 \"/>\n";
        assert_eq!(
            compact(body),
            "<path fill=\"none\" stroke=\"#222222\" d=\"m5 5l3-4 12-4m-20 3l1 1\"/>\n\
             <path fill=\"#222222\" d=\"m0 0l4 0 0 4zm1 0l3 0 0 4z\"/>\n"
        );
    }

    #[test]
    fn a_square_mark_is_a_shape_and_no_cap_of_the_pen() {
        let body = "<rect x=\"3\" y=\"4\" width=\"14\" height=\"14\" fill=\"#D55E00\"/>\n\
                    <rect x=\"9\" y=\"2\" width=\"14\" height=\"14\" fill=\"#D55E00\"/>\n";
        assert_eq!(
            compact(body),
            "<path fill=\"#D55E00\" d=\"m3 4h14v14h-14zm6-2h14v14h-14z\"/>\n"
        );
    }

    #[test]
    fn words_and_areas_stay_as_they_are() {
        let body = "<rect x=\"0\" y=\"0\" width=\"2000\" height=\"1846\" fill=\"#FFFFFF\"/>\n\
                    <text x=\"48\" y=\"36\">\nleft flap, 1,2 3,4\n</text>\n</svg>\n";
        assert_eq!(compact(body), body);
    }
}
