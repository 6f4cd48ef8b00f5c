//! The generated gRPC types and the descriptor set, compiled from proto/ without protoc.
