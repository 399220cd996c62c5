//! The aircraft seen from above, nose up, as far as the names of its surfaces tell: shapes to tap. Pure.
//!
//! A name tells where a surface sits by the trade's own words (aileron, flap, elevator, …) and by left and right. One that tells
//! neither is left to the list beside the plan.

use std::collections::BTreeMap;
use std::fmt::Write;

use minijinja::HtmlEscape;

/// Where surfaces of one kind sit on the left half: along which line of trailing edge, from the root outwards; user units of
/// a picture 240 wide, whose middle line is at 120.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
enum Place {
    WingInner,
    WingOuter,
    WingWhole,
    Brake,
    Canard,
    Tail,
    Fin,
}

impl Place {
    /// The words by which a name tells it, all in small letters.
    const WORDS: [(&'static str, Place); 17] = [
        ("flaperon", Place::WingWhole),
        ("elevon", Place::WingWhole),
        ("taileron", Place::Tail),
        ("aileron", Place::WingOuter),
        ("airbrake", Place::Brake),
        ("air brake", Place::Brake),
        ("spoiler", Place::Brake),
        ("slat", Place::Brake),
        ("flap", Place::WingInner),
        ("canard", Place::Canard),
        ("ruddervator", Place::Tail),
        ("v-tail", Place::Tail),
        ("v tail", Place::Tail),
        ("elevator", Place::Tail),
        ("stab", Place::Tail),
        ("tail", Place::Tail),
        ("rudder", Place::Fin),
    ];

    fn of(name: &str) -> Option<Self> {
        let found = Self::WORDS.iter().find(|(word, _)| name.contains(word));
        found.map(|(_, place)| *place)
    }

    /// Root and tip of the space for it on the left half, front and back of it.
    fn span(self) -> (f64, f64, f64, f64) {
        match self {
            Place::WingInner => (107.0, 68.0, 129.0, 147.0),
            Place::WingOuter => (65.0, 22.0, 129.0, 147.0),
            Place::WingWhole => (107.0, 22.0, 129.0, 147.0),
            Place::Brake => (96.0, 62.0, 106.0, 124.0),
            Place::Canard => (108.0, 78.0, 55.0, 73.0),
            Place::Tail => (113.0, 70.0, 209.0, 227.0),
            Place::Fin => (117.0, 97.0, 229.0, 249.0),
        }
    }
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
enum Half {
    Left,
    Right,
    Both,
}

fn half(name: &str) -> Half {
    let word = |wanted: &str| {
        name.split(|c: char| !c.is_alphanumeric())
            .any(|w| w == wanted)
    };
    if word("left") || word("port") {
        Half::Left
    } else if word("right") || word("starboard") {
        Half::Right
    } else {
        Half::Both
    }
}

/// Which surfaces, by their place in the list, have no place on the plan.
pub fn without_place(names: &[&str]) -> Vec<usize> {
    let unknown =
        |(i, name): (usize, &&str)| Place::of(&name.to_lowercase()).is_none().then_some(i);
    names.iter().enumerate().filter_map(unknown).collect()
}

/// The plan as an SVG of shapes to tap: `data-surface` is the place in the list, which has names and keyboard.
pub fn svg(names: &[&str]) -> String {
    let mut groups: BTreeMap<(Place, Half), Vec<usize>> = BTreeMap::new();
    for (i, name) in names.iter().enumerate() {
        let name = name.to_lowercase();
        if let Some(place) = Place::of(&name) {
            groups.entry((place, half(&name))).or_default().push(i);
        }
    }
    let has = |place: Place| groups.keys().any(|(p, _)| *p == place);
    let mut out = String::from("<svg id=\"plan\" viewBox=\"0 0 240 254\" aria-hidden=\"true\">\n");
    out += "<path class=\"body\" d=\"M120 4c6 10 11 26 11 44v150l-4 26h-14l-4-26V48c0-18 5-34 11-44z\"/>\n";
    for mirror in [false, true] {
        let at = |x: f64| if mirror { 240.0 - x } else { x };
        let mut body = |points: &[(f64, f64)]| {
            let points: Vec<String> = points
                .iter()
                .map(|(x, y)| format!("{},{y}", at(*x)))
                .collect();
            let _ = writeln!(
                out,
                "<polygon class=\"body\" points=\"{}\"/>",
                points.join(" ")
            );
        };
        body(&[(109.0, 78.0), (18.0, 122.0), (18.0, 147.0), (109.0, 147.0)]);
        if has(Place::Tail) || !has(Place::WingWhole) {
            body(&[(113.0, 190.0), (68.0, 210.0), (68.0, 227.0), (113.0, 227.0)]);
        }
        if has(Place::Canard) {
            body(&[(109.0, 44.0), (76.0, 56.0), (76.0, 73.0), (109.0, 73.0)]);
        }
    }
    for ((place, half), surfaces) in &groups {
        for (n, surface) in surfaces.iter().enumerate() {
            let shapes = shapes(*place, *half, n, surfaces.len());
            let _ = writeln!(
                out,
                "<g class=\"surface\" data-surface=\"{surface}\"><title>{}</title>",
                HtmlEscape(names[*surface])
            );
            for [x0, y0, x1, y1] in shapes {
                let (x, width) = (x0.min(x1), (x1 - x0).abs());
                let _ = writeln!(
                    out,
                    "<rect class=\"shape\" x=\"{x:.1}\" y=\"{y0:.1}\" width=\"{width:.1}\" height=\"{:.1}\" rx=\"1.5\"/>",
                    y1 - y0
                );
            }
            out += "</g>\n";
        }
    }
    out + "</svg>"
}

/// Corners of the shapes of the n-th of so many surfaces at one place; one without left and right has both halves.
fn shapes(place: Place, half: Half, n: usize, of: usize) -> Vec<[f64; 4]> {
    let (root, tip, front, back) = place.span();
    if place == Place::Fin && half == Half::Both {
        // Fins without left and right stand in a row across the middle line.
        let x = 120.0 + 22.0 * (n as f64 - 0.5 * (of as f64 - 1.0));
        return vec![[x - 9.5, front, x + 9.5, back]];
    }
    let step = (tip - root) / of as f64;
    let gap = if of > 1 { 1.5 } else { 0.0 };
    let (from, to) = (root + step * n as f64, root + step * (n + 1) as f64 + gap);
    let left = [from, front, to, back];
    let right = [240.0 - from, front, 240.0 - to, back];
    match half {
        Half::Left => vec![left],
        Half::Right => vec![right],
        Half::Both => vec![left, right],
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn boxes(svg: &str, surface: usize) -> Vec<[f64; 4]> {
        let from = svg.find(&format!("data-surface=\"{surface}\"")).unwrap();
        let group = &svg[from..from + svg[from..].find("</g>").unwrap()];
        let number = |rect: &str, key: &str| -> f64 {
            let at = rect.find(&format!(" {key}=\"")).unwrap() + key.len() + 3;
            rect[at..].split('"').next().unwrap().parse().unwrap()
        };
        let rects = group.split("<rect").skip(1);
        rects
            .map(|r| ["x", "y", "width", "height"].map(|key| number(r, key)))
            .collect()
    }

    #[test]
    fn left_is_left_and_right_is_its_mirror_image() {
        let plan = svg(&["left elevator", "right elevator"]);
        let (left, right) = (boxes(&plan, 0)[0], boxes(&plan, 1)[0]);
        assert!(left[0] + left[2] < 120.0 && right[0] > 120.0);
        assert!((left[0] + left[2] - (240.0 - right[0])).abs() < 1e-9);
    }

    #[test]
    fn no_shape_lies_over_another_one() {
        let names = [
            "left elevator",
            "right elevator",
            "left aileron",
            "right aileron",
            "left flap",
            "right flap",
            "left inner flap",
            "left rudder",
            "right rudder",
            "left airbrake",
            "canard",
            "elevon left",
            "V-tail",
            "rudder",
            "second rudder",
        ];
        for pair in names
            .iter()
            .enumerate()
            .flat_map(|(i, a)| names[..i].iter().map(move |b| [*a, *b]))
        {
            let plan = svg(&pair);
            if pair.iter().any(|n| n.contains("elevon"))
                && pair
                    .iter()
                    .any(|n| n.contains("aileron") || n.contains("flap"))
            {
                // No aircraft has both on one wing.
                continue;
            }
            if pair.iter().any(|n| n.contains("V-tail"))
                && pair.iter().any(|n| n.contains("elevator"))
            {
                continue;
            }
            let rudders = pair.iter().filter(|n| n.contains("rudder")).count() == 2;
            if rudders
                && pair
                    .iter()
                    .any(|n| !n.contains("left") && !n.contains("right"))
            {
                continue;
            }
            for a in boxes(&plan, 0) {
                for b in boxes(&plan, 1) {
                    let apart = a[0] + a[2] <= b[0] + 1e-6
                        || b[0] + b[2] <= a[0] + 1e-6
                        || a[1] + a[3] <= b[1] + 1e-6
                        || b[1] + b[3] <= a[1] + 1e-6;
                    assert!(apart, "{pair:?}: {a:?} {b:?}");
                }
            }
        }
    }

    #[test]
    fn a_surface_whose_name_tells_no_place_is_left_to_the_list() {
        assert_eq!(
            without_place(&["left flap", "nose gear door", "rudder"]),
            [1]
        );
        assert!(!svg(&["nose gear door"]).contains("data-surface"));
    }

    #[test]
    fn a_name_cannot_break_out_of_the_picture() {
        let plan = svg(&["rudder\"><script>x</script>"]);
        assert!(!plan.contains("<script"), "{plan}");
    }
}
