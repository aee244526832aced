//! HTML, one file per page; a view struct per template, built from domain values.
