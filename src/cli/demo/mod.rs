//! `demo`: a sample competition in a database of its own, served.

mod field;
mod names;
mod pace;
mod seeded;
mod series;
mod sheets;
mod story;
