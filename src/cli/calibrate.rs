//! `calibrate`: what a rig or a servo reads turned into what is there.

mod guided;
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
    /// A servo's supply power turned into torque: known masses lifted on its arm.
    Servo(Box<servo::Arguments>),
}

pub fn run(arguments: &Arguments) -> u8 {
    match &arguments.what {
        What::Servo(arguments) => servo::run(arguments),
    }
}
