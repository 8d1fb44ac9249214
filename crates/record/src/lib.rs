//! Readings and verdicts as plain data, and the text forms in which readings are exchanged.
