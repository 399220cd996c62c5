//! `calibrate`: what a rig or a servo reads turned into what is there.

mod angle;
mod guided;
mod held_still;
mod kept;
mod servo;

use clap::{Args, Subcommand};

#[derive(Args)]
pub struct Arguments {
    #[command(subcommand)]
    what: What,
}

#[derive(Subcommand)]
enum What {
    /// A surface's angle sensor: scale, zero and sign from two known angles or more.
    Angle(Box<angle::Arguments>),
    /// A servo's supply power turned into torque: known masses lifted on its arm.
    Servo(Box<servo::Arguments>),
}

pub fn run(arguments: &Arguments) -> u8 {
    match &arguments.what {
        What::Angle(arguments) => angle::run(arguments),
        What::Servo(arguments) => servo::run(arguments),
    }
}
