//! The commands, one file each. It never decides what a load should be doing.
