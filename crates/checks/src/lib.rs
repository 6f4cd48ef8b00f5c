//! Geometry and electrics as pure maths on quantities.
