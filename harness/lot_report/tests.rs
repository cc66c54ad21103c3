//! Reports about lots: bytes that repeat, every metric named, hostile words
//! harmless, pages that another reader opens.
