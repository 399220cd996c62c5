//! The live page at the bench, and what it does on a rig just as the commands do: runs into a logbook, a hinge being worked in.
//!
//! - [`record`], [`course`]: a recorded run; a hinge worked in, batch by batch. The commands use them as well.
//! - [`gate`], [`serve`]: who may come in; the page's server. [`told`]: what page and program tell each other.
//! - [`dialog`]: a new aircraft's questions and answers on the page, before there is a logbook.
//! - [`hub`]: where pages and worker meet; [`worker`]: the one at the rig; [`look`]: what is shown of recordings; [`plan`]: the
//!   aircraft to pick from.
//!
//! A stop goes from a page's task straight to the line ([`crate::rig::Line::stop`]): it waits for no worker, no drawing, no disk.
//!
//! Never in here: measuring, judging, driving; those are the rooms below.

pub mod course;
pub mod dialog;
pub mod gate;
pub mod hub;
mod look;
pub mod plan;
pub mod record;
pub mod serve;
pub mod told;
pub mod worker;
