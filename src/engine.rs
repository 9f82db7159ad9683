//! The four stages in order: samples in, one permitted frame at each frame edge out.

use crate::analysis::AnalysisSettings;
use crate::budget::BudgetSettings;
use crate::mapper::MapperSettings;

/// Settings of all stages, checked and agreeing with each other: same frame rate, same number of
/// coils, routes that name bands which exist.
#[derive(Debug, Clone, PartialEq)]
pub struct Prepared {
    /// Samples to levels.
    pub analysis: AnalysisSettings,
    /// Levels to wishes.
    pub mapper: MapperSettings,
    /// Wishes to duties.
    pub budget: BudgetSettings,
}
