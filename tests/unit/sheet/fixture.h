// Hand-made sheets for the renderers: every kind of finding once, an album of stems, and everything hostile we know.
#pragma once

#include <sendworthy/catalog.h>
#include <sendworthy/sheet.h>

namespace sendworthy::fixture {

[[nodiscard]] const Catalog& small_catalog();

/// One file with a finding of each status, places, a waiver, skipped rules and a caution.
[[nodiscard]] Sheet one_mix();
/// A file in which nothing is wrong.
[[nodiscard]] Sheet clean_mix();
/// Twelve stems that share most of their findings, and one input that could not be read.
[[nodiscard]] Sheet many_stems();
/// Measured, not judged: values, events, per-channel numbers, timelines, not measured, not applicable.
[[nodiscard]] Sheet measured_mix();
/// Two rule sets that agree in one finding, findings of the whole set.
[[nodiscard]] Sheet two_rule_sets();
/// Quotes, markup, newlines, escape sequences, broken UTF-8, bidirectional controls, formulas, NaN, a thousand
/// findings.
[[nodiscard]] Sheet hostile();
/// `files` × `findings`, for timing.
[[nodiscard]] Sheet large(int files, int findings);

}  // namespace sendworthy::fixture
