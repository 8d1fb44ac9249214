//! The facade: everything that the command line and the pages can ask, as plain view data.
