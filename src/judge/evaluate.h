// Rules × measurements → findings. Pure; knows nothing of audio.
#pragma once

#include <sendworthy/catalog.h>
#include <sendworthy/rule_set.h>
#include <sendworthy/sheet.h>

#include <string>
#include <vector>

namespace sendworthy::judge {

/// What conditions and waivers ask about a file.
struct Subject {
  std::string path;  ///< waivers' `files` pattern is matched against the path and against the last part of it
  std::string role;
  std::string container;
  std::string audio_digest;
  int channels = 0;
  double duration_s = 0;
  int sample_rate = 0;
  std::string today;  ///< YYYY-MM-DD; empty: no waiver ever expires, which is said in a finding
};

struct Judgement {
  std::vector<Finding> findings;  ///< in order of rule set and rule; waivers applied; expired waivers as findings
  std::vector<Skipped> skipped;
  std::vector<std::size_t> used_waivers;  ///< indexes into rule_set.waivers that matched something in this file
};

/// Judges one file by one rule set. Every enabled rule ends in exactly one finding or one entry in skipped.
/// Comparisons use unrounded doubles; equal passes. A measurement that is missing from the list is "not measured".
[[nodiscard]] Judgement evaluate(const RuleSet& rule_set, const std::vector<Measurement>& measurements,
                                 const Subject& subject, const Catalog& catalog);

/// Findings of the whole set: waivers nothing used (warn), or that have ended on `today` (fail). `used`: the used_waivers of
/// all files, joined.
[[nodiscard]] std::vector<Finding> unused_waivers(const RuleSet& rule_set, const std::vector<std::size_t>& used,
                                                  std::string_view today);

}  // namespace sendworthy::judge
