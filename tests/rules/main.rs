//! Rules held against outside values, slow twins and small models: one module a topic.

mod life;
mod support;
