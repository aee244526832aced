//! `demo`

mod names;
mod pace;
mod seeded;
mod series;
