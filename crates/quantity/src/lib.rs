//! Units, money, colours, wire sizes and typed ids: no bare number or string stands in a signature.
