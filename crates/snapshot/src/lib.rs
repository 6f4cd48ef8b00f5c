//! Records compiled once into an immutable index that every question reads without a lock.
