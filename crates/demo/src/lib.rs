//! The invented catalogue: data files and their loader.
