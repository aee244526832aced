//! The written form of a performance: one reader for forms, CSV, JSON and the command line.
