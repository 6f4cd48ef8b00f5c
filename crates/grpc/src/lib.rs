//! Conversions, status, layers and handlers: the only place where answers become messages.
