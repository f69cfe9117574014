//! Topics and payloads of the wire, in both directions. It never sends anything.
