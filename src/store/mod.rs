//! SQLite: migrations, state, journal. It never decides and never blocks the engine.
