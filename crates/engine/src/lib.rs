//! The one writer and the current view: folds the log into state and publishes immutable views.
