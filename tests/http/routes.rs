//! Placeholder for the table of routes and roles.
