// File names as an order wants them: "{artist}_{title}_{version}_{rate}k{bits}".
#pragma once

#include <sendworthy/result.h>

#include <map>
#include <string>
#include <string_view>
#include <vector>

namespace sendworthy::delivery {

/// A pattern of literal text and fields in braces, without the file's ending.
class NamePattern {
 public:
  /// Errors: rules, for a brace without its other half, or a field that is not known, with the nearest right one.
  [[nodiscard]] static Result<NamePattern> parse(std::string_view text);

  /// What each field may read; the first is what a name should say. A field that is not in the map may be anything.
  using Fields = std::map<std::string, std::vector<std::string>, std::less<>>;

  /// The name as it should be, spaces as underscores; a field of which nothing is known stays in its braces.
  [[nodiscard]] std::string expected(const Fields& fields) const;
  /// Whether a name without its ending is one that the pattern and the fields allow. Unicode forms do not matter, capitals do,
  /// but for `version` and `role`.
  [[nodiscard]] bool matches(std::string_view stem, const Fields& fields) const;
  [[nodiscard]] bool uses(std::string_view field) const;

 private:
  struct Part {
    bool field = false;
    std::string text;  ///< the field's name, or the literal
  };
  std::vector<Part> parts_;
};

/// The fields a pattern may have.
[[nodiscard]] const std::vector<std::string_view>& name_fields();

/// 44100 → "44.1", 48000 → "48", 88200 → "88.2".
[[nodiscard]] std::string rate_field(int sample_rate);

}  // namespace sendworthy::delivery
