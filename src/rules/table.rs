//! CSV in and out: which separator, which columns, rows one by one with line and column; and
//! cells that no spreadsheet takes for a formula.
