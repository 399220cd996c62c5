//! Pictures: torque against deflection, and the traces over time, as SVG and PNG. Drawing only; what is drawn
//! was computed elsewhere. A measured stretch, a fitted one and one that could not be seen look different,
//! by shape as well as by hue.

mod axes;
mod canvas;
mod compact;
mod curve;
mod dates;
mod flight;
mod heat;
mod legend;
mod lifts;
mod linkage;
mod marks;
mod notes;
mod pair;
mod said;
mod servo;
mod throws;
mod traces;
mod trend;
mod trend_pen;
mod trend_words;
mod worked_in;
mod worked_in_panels;

use std::path::Path;

use plotters::prelude::*;

pub use self::axes::Axes;
use self::canvas::{Canvas, Outcome, register_font};
use super::Checked;
use super::book::WorkedIn;
use super::calibrate::Calibrated;
use super::flight::SurfaceFlown;
use super::linkage::Looked;
use super::servo::ServoTest;
use crate::history::season::Record;
use crate::problem::Problem;
use crate::servo::heat::Heat;
use crate::units::TorqueUnit;

/// Torque against deflection, as an SVG that fills the width it is given.
pub fn curve_svg(checked: &Checked<'_>, unit: TorqueUnit, axes: Option<Axes>) -> String {
    let sheet = curve::Sheet::of(checked, unit, axes);
    svg(sheet.size(), &said::curve(checked, unit), |canvas| {
        sheet.draw(canvas)
    })
}

/// Torque against deflection, as a PNG file.
///
/// # Errors
/// When the file cannot be written.
pub fn curve_png(
    path: &Path,
    checked: &Checked<'_>,
    unit: TorqueUnit,
    axes: Option<Axes>,
) -> Result<(), Problem> {
    let sheet = curve::Sheet::of(checked, unit, axes);
    png_file(path, sheet.size(), |canvas| sheet.draw(canvas))
}

/// Torque against deflection before and after on the same axes, as an SVG that fills the width it is given.
pub fn pair_svg(before: &Checked<'_>, after: &Checked<'_>, unit: TorqueUnit) -> String {
    svg(pair::SIZE, &pair::said(before, after), |canvas| {
        pair::draw(canvas, before, after, unit)
    })
}

/// [`pair_svg`] as a PNG file.
///
/// # Errors
/// When the file cannot be written.
pub fn pair_png(
    path: &Path,
    before: &Checked<'_>,
    after: &Checked<'_>,
    unit: TorqueUnit,
) -> Result<(), Problem> {
    png_file(path, pair::SIZE, |canvas| {
        pair::draw(canvas, before, after, unit)
    })
}

/// Torque at the servo's arm in flight against deflection at some speeds, with what the servo has, as an SVG that fills the
/// width it is given. `None` where there is nothing to draw: no linkage, or no reach.
pub fn flight_svg(one: &SurfaceFlown<'_>, factor: f64, unit: TorqueUnit) -> Option<String> {
    let sheet = flight::Sheet::of(one, factor, unit)?;
    Some(svg(flight::SIZE, &sheet.said(), |canvas| {
        sheet.draw(canvas)
    }))
}

/// [`flight_svg`] as a PNG file; whether there was anything to draw.
///
/// # Errors
/// When the file cannot be written.
pub fn flight_png(
    path: &Path,
    one: &SurfaceFlown<'_>,
    factor: f64,
    unit: TorqueUnit,
) -> Result<bool, Problem> {
    let Some(sheet) = flight::Sheet::of(one, factor, unit) else {
        return Ok(false);
    };
    png_file(path, flight::SIZE, |canvas| sheet.draw(canvas))?;
    Ok(true)
}

/// A servo's steps and staircases, as an SVG that fills the width it is given.
pub fn servo_svg(test: &ServoTest<'_>) -> String {
    svg(servo::SIZE, &servo::said(test), |canvas| {
        servo::draw(canvas, test)
    })
}

/// [`servo_svg`] as a PNG file.
///
/// # Errors
/// When the file cannot be written.
pub fn servo_png(path: &Path, test: &ServoTest<'_>) -> Result<(), Problem> {
    png_file(path, servo::SIZE, |canvas| servo::draw(canvas, test))
}

/// Angle, effort and pulse over time, as an SVG that fills the width it is given.
pub fn traces_svg(checked: &Checked<'_>, unit: TorqueUnit) -> String {
    svg(traces::size(checked), &said::traces(checked), |canvas| {
        traces::draw(canvas, checked, unit)
    })
}

/// Angle, effort and pulse over time, as a PNG file.
///
/// # Errors
/// When the file cannot be written.
pub fn traces_png(path: &Path, checked: &Checked<'_>, unit: TorqueUnit) -> Result<(), Problem> {
    png_file(path, traces::size(checked), |canvas| {
        traces::draw(canvas, checked, unit)
    })
}

/// A servo's case over time with its fitted law, as an SVG that fills the width it is given.
pub fn heat_svg(surface: &str, heat: &Heat, limit_c: f64) -> String {
    svg(heat::SIZE, &heat::said(surface, heat, limit_c), |canvas| {
        heat::draw(canvas, surface, heat, limit_c)
    })
}

/// [`heat_svg`] as a PNG file.
///
/// # Errors
/// When the file cannot be written.
pub fn heat_png(path: &Path, surface: &str, heat: &Heat, limit_c: f64) -> Result<(), Problem> {
    png_file(path, heat::SIZE, |canvas| {
        heat::draw(canvas, surface, heat, limit_c)
    })
}

/// How a hinge was worked in, over cycles worked, as an SVG that fills the width it is given.
pub fn worked_in_svg(worked: &WorkedIn, unit: TorqueUnit) -> String {
    let sheet = worked_in::Sheet::of(worked, unit);
    svg(sheet.size(), &sheet.said(), |canvas| sheet.draw(canvas))
}

/// One quantity of a surface or a servo over time, as an SVG that fills the width it is given.
pub fn trend_svg(record: &Record, unit: TorqueUnit) -> String {
    let sheet = trend::Sheet::of(record, unit);
    svg(sheet.size(), &sheet.said(), |canvas| sheet.draw(canvas))
}

/// A linkage along its throw, and its torque at the servo, as an SVG that fills the width it is given.
pub fn linkage_svg(looked: &Looked<'_>, unit: TorqueUnit) -> String {
    svg(linkage::SIZE, &linkage::said(looked), |canvas| {
        linkage::draw(canvas, looked, unit)
    })
}

/// [`linkage_svg`] as a PNG file.
///
/// # Errors
/// When the file cannot be written.
pub fn linkage_png(path: &Path, looked: &Looked<'_>, unit: TorqueUnit) -> Result<(), Problem> {
    png_file(path, linkage::SIZE, |canvas| {
        linkage::draw(canvas, looked, unit)
    })
}

/// Power against torque of a calibration, as an SVG that fills the width it is given.
pub fn lifts_svg(calibrated: &Calibrated<'_>, unit: TorqueUnit) -> String {
    svg(lifts::SIZE, &lifts::said(calibrated), |canvas| {
        lifts::draw(canvas, calibrated, unit)
    })
}

/// [`lifts_svg`] as a PNG file.
///
/// # Errors
/// When the file cannot be written.
pub fn lifts_png(
    path: &Path,
    calibrated: &Calibrated<'_>,
    unit: TorqueUnit,
) -> Result<(), Problem> {
    png_file(path, lifts::SIZE, |canvas| {
        lifts::draw(canvas, calibrated, unit)
    })
}

/// Pictures are drawn on a sheet of this many units' width; the backends place on whole pixels, so the SVG is
/// drawn larger and scaled down by its reader.
const SVG_SCALE: f64 = 2.0;
/// 1,600 pixels wide when done.
const PNG_SCALE: f64 = 1.6;
/// The bitmap backend draws edges hard: it draws this many times larger, and what is kept is the mean.
const FINER: usize = 2;

fn pixels(size: (f64, f64), scale: f64) -> (u32, u32) {
    (
        (size.0 * scale).round() as u32,
        (size.1 * scale).round() as u32,
    )
}

fn svg(
    size: (f64, f64),
    said: &said::Said,
    draw: impl FnOnce(&Canvas<'_, SVGBackend<'_>>) -> Outcome<std::io::Error>,
) -> String {
    register_font();
    let mut text = String::new();
    {
        let root = SVGBackend::with_string(&mut text, pixels(size, SVG_SCALE)).into_drawing_area();
        let drawn = draw(&Canvas::new(&root, SVG_SCALE, false)).and_then(|()| root.present());
        debug_assert!(drawn.is_ok(), "writing to a string cannot fail");
    }
    scalable(&text, size, said)
}

type BitMapError = <BitMapBackend<'static> as DrawingBackend>::ErrorType;

fn png_file(
    path: &Path,
    size: (f64, f64),
    draw: impl FnOnce(&Canvas<'_, BitMapBackend<'_>>) -> Outcome<BitMapError>,
) -> Result<(), Problem> {
    let failed = |why: String| {
        Problem::new(format!(
            "cannot write the picture {}: {why}",
            path.display()
        ))
        .hint("make sure that the folder exists, can be written to and has room")
    };
    let (width, height) = pixels(size, PNG_SCALE);
    let (fine_width, fine_height) = (width as usize * FINER, height as usize * FINER);
    let mut fine = vec![255; fine_width * fine_height * 3];
    register_font();
    {
        let root = BitMapBackend::with_buffer(&mut fine, (fine_width as u32, fine_height as u32))
            .into_drawing_area();
        draw(&Canvas::new(&root, PNG_SCALE * FINER as f64, true))
            .map_err(|e| failed(e.to_string()))?;
        root.present().map_err(|e| failed(e.to_string()))?;
    }
    let file = std::fs::File::create(path).map_err(|e| failed(e.to_string()))?;
    let mut encoder = png::Encoder::new(std::io::BufWriter::new(file), width, height);
    encoder.set_color(png::ColorType::Rgb);
    encoder.set_depth(png::BitDepth::Eight);
    let mut writer = encoder.write_header().map_err(|e| failed(e.to_string()))?;
    writer
        .write_image_data(&coarser(&fine, fine_width))
        .map_err(|e| failed(e.to_string()))?;
    writer.finish().map_err(|e| failed(e.to_string()))
}

/// The mean of each [`FINER`] by [`FINER`] pixels, three bytes a pixel.
fn coarser(fine: &[u8], fine_width: usize) -> Vec<u8> {
    let row_bytes = fine_width * 3;
    let mut coarse = Vec::with_capacity(fine.len() / (FINER * FINER));
    for rows in fine.chunks_exact(row_bytes * FINER) {
        for x in 0..fine_width / FINER {
            for colour in 0..3 {
                let within =
                    |i: usize| rows[(i / FINER) * row_bytes + (x * FINER + i % FINER) * 3 + colour];
                let sum: usize = (0..FINER * FINER).map(|i| usize::from(within(i))).sum();
                coarse.push((sum / (FINER * FINER)) as u8);
            }
        }
    }
    coarse
}

/// Takes the fixed size away, so that the picture fills what it is put into, and tells what is seen to those who
/// listen instead of look.
fn scalable(svg: &str, size: (f64, f64), said: &said::Said) -> String {
    let body = svg.split_once('>').map_or("", |(_, body)| body);
    let (width, height) = pixels(size, SVG_SCALE);
    let (title, seen) = (escaped(&said.title), escaped(&said.seen));
    // What is so without saying; no text can hold such an attribute, its quotation marks are escaped.
    let body = body
        .replace(" stroke=\"none\" stroke-width=\"1\"", "")
        .replace(" stroke=\"none\"", "")
        .replace(" opacity=\"1\"", "");
    let body = compact::compact(&body);
    // Some readers tell the label alone, some the title and the description.
    format!(
        "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"100%\" viewBox=\"0 0 {width} {height}\" \
         preserveAspectRatio=\"xMidYMid meet\" role=\"img\" aria-label=\"{title}. {seen}\">\n<title>{title}</title>\
         <desc>{seen}</desc>{body}"
    )
}

fn escaped(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for c in text.chars() {
        match c {
            '<' => out.push_str("&lt;"),
            '>' => out.push_str("&gt;"),
            '&' => out.push_str("&amp;"),
            '"' => out.push_str("&quot;"),
            c if c.is_control() => out.push('\u{FFFD}'),
            c => out.push(c),
        }
    }
    out
}

#[cfg(test)]
mod course_tests;
#[cfg(test)]
mod tests;
