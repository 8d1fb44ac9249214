//! Sparse algebra and Newton's method on plain numbers; nothing here knows what the numbers mean.
