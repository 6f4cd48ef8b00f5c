//! Geometry and electrics as pure maths on quantities.

pub mod conductor;
pub mod feed;
pub mod fuse;
