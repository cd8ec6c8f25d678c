//! Why a take was not read, in a sentence, from how its process ended.

use super::Job;
use super::work::Ended;
use crate::report::lettering::harmless;
use crate::words::journal as text;
use std::path::Path;

/// How a process that gets no memory says so.
const NO_MEMORY: &str = "memory allocation of ";

/// Why there is no review of a take, told without the places of its files.
/// `limit_s` and `limit_mb` are what it may have taken.
pub fn why(ended: &Ended, job: &Job, limit_s: u64, limit_mb: u64) -> String {
    match ended {
        Ended::Code(_, said) => nameless(&told(said), job),
        Ended::TooLong => text::given_up(limit_s),
        Ended::Died(_, said) if said.contains(NO_MEMORY) => text::out_of_memory(limit_mb),
        Ended::Died(how, said) => {
            // What follows the first line is for those who mend a program.
            let of = said.lines().next().map(|line| format!("{how}; {line}"));
            text::died(&nameless(&of.unwrap_or_else(|| how.clone()), job), limit_mb)
        }
        Ended::NotStarted(why) => text::not_started(why),
    }
}

/// The line that says what was wrong: ours, or that of whoever read the
/// command line, which is followed by how to use it.
fn told(said: &str) -> String {
    let after = |begin: &str| said.lines().find_map(|l| l.strip_prefix(begin));
    let line = after("kettlemark: ").or_else(|| after("error: "));
    let line = line.or_else(|| said.lines().next_back());
    line.unwrap_or(text::NO_REASON).to_owned()
}

/// The same without the places of take and part, which are nobody's business
/// on a page that is handed on and would tell whose an anonymous take is.
fn nameless(said: &str, job: &Job) -> String {
    let shown = |path: &Path| harmless(&path.display().to_string());
    let (take, part) = (shown(&job.take), shown(&job.part));
    let said = match said.strip_prefix(&format!("{take}: ")) {
        Some(why) => why.to_owned(),
        None => said.replace(&format!("{part}: "), text::IN_THE_PART),
    };
    said.replace(&take, &job.name)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn said(ended: &Ended) -> String {
        let job = Job {
            take: "/home/x/a.wav".into(),
            part: "/home/x/p.mid".into(),
            player: "a".to_owned(),
            name: "a.wav".to_owned(),
            folder: "a".to_owned(),
            not_read: None,
        };
        why(ended, &job, 600, 2000)
    }

    #[test]
    fn what_was_wrong_is_told_and_not_what_follows_it() {
        let code = |said: &str| Ended::Code(2, said.to_owned());
        let usage = "error: unexpected argument '--x' found\n\nUsage: kettlemark review <TAKE>\n\n\
                     For more information, try '--help'.";
        assert_eq!(said(&code(usage)), "unexpected argument '--x' found");
        let ours = "first\nkettlemark: /home/x/a.wav: it is empty\nerror: no\nlast";
        assert_eq!(said(&code(ours)), "it is empty");
        assert_eq!(
            said(&code("kettlemark: /home/x/p.mid: bar 3: why")),
            "in the part: bar 3: why"
        );
        assert_eq!(said(&code("one\ntwo")), "two");
        let died = |said: &str| Ended::Died("signal: 6".to_owned(), said.to_owned());
        let trace = "memory allocation of 4194304 bytes failed\nstack backtrace:\nnote: Some \
                     details are omitted.";
        assert_eq!(said(&died(trace)), text::out_of_memory(2000));
        let fault = "/home/x/a.wav: a fault\nstack backtrace:";
        assert_eq!(
            said(&died(fault)),
            text::died("signal: 6; a.wav: a fault", 2000)
        );
        assert_eq!(said(&died("")), text::died("signal: 6", 2000));
        assert_eq!(said(&code("")), text::NO_REASON);
    }
}
