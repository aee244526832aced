//! The service over HTTP, in process. The folders mirror the addresses: `api/v1/me.rs` tests
//! `/api/v1/me`. Each test has a database of its own; the clock stands until a test moves it.

mod account;
mod api;
mod api_page;
mod calendar;
mod changes;
mod claims;
mod desk;
mod desk_file;
mod every_page;
mod everywhere;
mod forgotten;
mod heats;
mod hostile;
mod instances;
mod language;
mod language_walk;
mod layers;
mod leaks;
mod listener;
mod log_lines;
mod mail;
mod many_gyms;
mod organise;
mod password_by_link;
mod passwords;
mod preconditions;
mod proposals;
mod proxies;
mod referee;
mod routes;
mod shared;
mod sheet;
mod spectators;
mod support;
mod wall;
