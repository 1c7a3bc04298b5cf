//! How much work an answer is worth.

/// How much work an answer is worth.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Effort {
    /// In constant memory: no causes worked out, no surfaces.
    Quick,
    /// Surfaces and bumps, but no causes.
    Bumps,
    /// Surfaces, and causes where they take some seconds.
    #[default]
    Usual,
    /// Causes worked out in full, however long that takes.
    Full,
}
