//! What is wrong, where, and what to do about it, as data; rendering stands apart. It never prints.
