//! Geometry and electrics as pure maths on quantities.

pub mod conductor;
pub mod depth;
pub mod face;
pub mod feed;
pub mod fuse;
pub mod ladder;
pub mod level;
pub mod result;
pub mod rules;
pub mod screen;
pub mod speaker;
pub mod standby;
pub mod supply;
pub mod surroundings;
