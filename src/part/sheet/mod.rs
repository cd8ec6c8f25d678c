//! The text sheet (`.kettle`): a part typed from paper in minutes.
//!
//! One line a bar, one word a beat. A small march:
//!
//! ```text
//! # Anything after a number sign at the start of a line is a remark.
//! title Lantern Procession
//! drum 1 F2 32
//! drum 2 Bb2 29
//! meter 4/4
//! tempo 96 "Alla marcia"
//! 1: p:Bb . F .
//! 2: Bb F,F Bb,Bb,Bb F
//! 3: cresc:F~*3 end:.
//! 4: f:Bb^ . F' .
//! 5-8: .
//! cue "oboe solo"
//! tune 1 F2 to G2
//! 9: Bbr Bbl G+Bb .
//! ```
//!
//! **Words.** A word fills one beat: `Bb` strikes, `.` is silent, `_` lasts on.
//! Commas divide a word evenly: `F,F` are two eighths, `F,F,F` a triplet,
//! `F,_,F` a long and a short; brackets divide again: `F,(F,F)`. `*` and a
//! number make a word longer or shorter than a beat: `F*3`, `F*1/2`, and
//! `F,F,F*2` is a triplet over two beats. A bar of a single `.` or `_` is
//! silent, or lasts on, all through. `+` strikes drums together: `F+Bb`.
//!
//! **Pitches** are `F2`, `Bb2`, `C#3`; without an octave the pitch of a drum in
//! use is meant or, when the sheet names no drums, the one from E2 to Eb3. `@2`
//! is drum 2 at whatever it is tuned to; `C3@2` says both.
//!
//! **Signs** stand behind a pitch: `~` roll, `^` accent, `'` staccato, `=`
//! tenuto, `&` flam, `r` and `l` the hand, `x` stop the drum at the note's end,
//! `o` let it ring.
//!
//! **Labels** stand before a word, or a piece of it, with a colon: the dynamics
//! `pppp:` to `ffff:`, `cresc:` and `dim:` until `end:` (`cresc2:` ... `end2:`
//! when two overlap), `fermata:`. After the last word they mean the bar's end.
//!
//! **Lines.** `5: ...` is a bar, `5 (1): ...` one that lasts one quarter note
//! (a pickup), `5-8: .` four bars. `more: ...` goes on with a bar, `with: ...`
//! is a second voice in it. Before a bar stand `meter 6/8` (`meter 6/8 in 2`
//! for two beats a bar), `tempo 96`, `tempo 66 per 3/2` (of dotted quarter
//! notes), `tempo gradual "rit."`, `cue "..."`, `rehearsal A`, `tune 2 Bb2 to
//! C3`; `at 3` behind a tempo puts it on the third quarter note. `again 5-8`
//! plays bars again. `drum 1 F2 32` gives drum 1 its starting pitch and, if it
//! is known, its size in inches; without such lines the tuning plan is found.
//! `unread "..."` keeps what a reader of another kind of file did not
//! understand.

mod again;
mod bar;
mod drum;
mod head;
mod line;
mod parse;
mod spell;
mod word;
mod write;

pub(in crate::part) use parse::parse;
pub use write::to_sheet;
