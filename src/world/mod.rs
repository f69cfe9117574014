//! Simple physics behind a simulated house. It never uses real time or chance that was not handed in.
