//! What `break-in` says before anything moves, and what forbids to begin.

use super::said;
use super::{Job, PAUSE_S};
use crate::cli::complain;
use crate::cli::words::say;
use crate::history::settling::{self, RECHECK_AFTER_H, REST_H, State};
use crate::problem::{Problem, exit};
use crate::rig::{Stage, SweepPlan};
use crate::units::{Unit, fixed};

/// A stop that nothing sound has followed, or a re-check too soon: said, and the exit status of a run that may not begin.
pub fn forbidden(job: &Job) -> Option<u8> {
    let arguments = job.arguments;
    if let Some(note) = &job.course.past.baseline {
        say(&format!(
            "noted      {} on {}: what was measured before counts no more ({})",
            note.kind.word(),
            note.at.strftime("%Y-%m-%d"),
            note.text
        ));
    }
    if let Some(stop) = settling::stop(&job.course.past.batches) {
        let rose = job.course.past.rose.as_deref();
        say(&said::last_stop(&stop, rose, arguments.units));
        if arguments.hand.is_none() && !arguments.after_stop {
            complain(
                &Problem::new(format!(
                    "{} is not moved: its working in was stopped, and whether it goes on is yours to decide",
                    job.course.surface().name
                ))
                .hint(said::look_first(&job.onward())),
            );
            return Some(exit::FOUND);
        }
    }
    if !arguments.recheck {
        return None;
    }
    let rested_h = job.course.rested_h()?;
    let left = format!("{} h more", fixed(RECHECK_AFTER_H - rested_h, 1));
    if rested_h < REST_H {
        complain(
            &Problem::new(format!(
                "{} has rested for {} h only: a re-check so soon tells nothing of a rest",
                job.course.surface().name,
                fixed(rested_h, 1)
            ))
            .hint(format!(
                "let it rest for {left}: after {RECHECK_AFTER_H:.0} hours a re-check can confirm that it has settled"
            )),
        );
        return Some(exit::UNUSABLE);
    }
    if rested_h < RECHECK_AFTER_H {
        say(&format!(
            "note       it has rested for {} h; a re-check would confirm after {left}. This one shows what the rest gave back, confirms \
             nothing, and the rest begins anew with it",
            fixed(rested_h, 1)
        ));
    } else if !matches!(
        job.course.standing().state,
        State::Settled | State::Confirmed
    ) {
        say(
            "note       it has not been shown to have settled: a re-check shows what the rest gave back, and confirms nothing",
        );
    }
    None
}

/// What a rig that drives is going to do.
pub fn driven(job: &Job) -> String {
    let (arguments, trip) = (job.arguments, &job.course.trip);
    let surface = job.course.surface();
    let servo = &job.course.logbook.aircraft().servos[surface.servo_index];
    let stages: Vec<String> = job
        .course
        .stages
        .iter()
        .map(|s| {
            let [down, up] = [s.plan.down_deg, s.plan.up_deg].map(|deg| Unit::Degree.side(deg));
            let had = match settling::spent(&job.course.past.batches, s.deg) {
                0.0 => String::new(),
                cycles => format!(", {cycles:.0} cycles worked"),
            };
            format!("{}: {down} to {up}{had}", Unit::Degree.given(s.deg))
        })
        .collect();
    let what = if arguments.recheck {
        "one batch, to see what a rest gave back".to_owned()
    } else {
        format!(
            "of {} cycles at {}/s, each a recording; a stage ends when it has settled, or at {} cycles of its own; what was worked in others is not \
             counted in",
            arguments.batch,
            Unit::Degree.given(arguments.rate),
            arguments.cycles_per_stage
        )
    };
    format!(
        "WHAT WILL MOVE: {}, servo {}\n\
         worked     {:.0} cycles so far in all, by the logbook\n\
         stages     {}\n\
         batches    {what}\n\
         takes      {}\n\
         first      a nudge of 2° to see which way it goes, then the deflection grows in steps\n\
         stops      {}\n\
         rig stops  above {:.0} mA, below {:.2} V, above {:.0} °C at the case if the rig measures it, stalled for {:.0} ms; pulses from {:.0} to {:.0} µs only",
        surface.name,
        servo.tag,
        job.course.past.worked,
        stages.join("; "),
        time(job),
        stops(job),
        trip.current_ma,
        trip.supply_v,
        trip.case_c,
        trip.stall_ms,
        trip.pulse_lo_us,
        trip.pulse_hi_us,
    )
}

/// At what rise of torque the program stops: against nothing that was not measured.
fn stops(job: &Job) -> String {
    let arguments = job.arguments;
    let rise = format!(
        "at {:.0} % more torque than the last sound batch at like angles",
        arguments.rise
    );
    let rise = match (job.course.is_held_against_last(), arguments.recheck) {
        (true, _) => rise,
        (false, true) => {
            "at no rise of torque: it has rested, and no batch of today is there to hold it against"
                .to_owned()
        }
        (false, false) => format!("from this run's second batch on {rise}"),
    };
    match arguments.most_torque {
        Some(most) => format!("{rise}, or above {most} N·cm anywhere"),
        None => rise,
    }
}

/// What is to be done where a hand moves it.
pub fn by_hand(job: &Job, cycles: u32) -> String {
    format!(
        "YOU MOVE: {}\nworked     {:.0} cycles so far, {cycles} of them by hand since the last recording\n\
         Move it from end to end and back, ten times, about 30° a second, without stopping on the way.",
        job.course.surface().name,
        job.course.past.worked + f64::from(cycles)
    )
}

fn time(job: &Job) -> String {
    let arguments = job.arguments;
    if arguments.recheck {
        let one = job
            .course
            .due()
            .map_or(0.0, |(stage, _)| stage.plan.whole_s());
        return format!("about {}", minutes(one));
    }
    let left = job.course.left();
    if left.is_empty() {
        return "no time: nothing is left to be worked".to_owned();
    }
    let whole_s: f64 = left
        .iter()
        .filter_map(|(deg, cycles)| Some(stage_s(job.course.stage(*deg)?, *cycles)))
        .sum();
    format!("about {} at the most", minutes(whole_s))
}

/// A stage of so many cycles: the way is felt for in its first batch alone.
fn stage_s(stage: &Stage, cycles: f64) -> f64 {
    let batches = (cycles / f64::from(stage.plan.cycles)).ceil();
    let rests = SweepPlan {
        cycles: 0,
        ..stage.plan
    };
    stage.plan.growth_s()
        + batches * (rests.known_way_s() + PAUSE_S)
        + cycles * stage.plan.cycle_s()
}

fn minutes(seconds: f64) -> String {
    if seconds < 120.0 {
        format!("{seconds:.0} s")
    } else {
        format!("{:.0} min", (seconds / 60.0).ceil())
    }
}
