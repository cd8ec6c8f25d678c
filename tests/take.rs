//! Recordings to samples: every container, damage, forgery, fitness.

#[path = "take/damage.rs"]
mod damage;
#[path = "take/fitness.rs"]
mod fitness;
#[path = "take/formats.rs"]
mod formats;
#[path = "take/mutation.rs"]
mod mutation;
#[path = "take/tools.rs"]
mod tools;
