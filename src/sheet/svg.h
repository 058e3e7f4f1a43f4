// Numbers and texts as SVG wants them, and scales between values and the picture.
#pragma once

#include <string>
#include <string_view>

namespace sendworthy::sheet {

/// To a tenth of a unit of the picture; "0" for what is no finite number.
[[nodiscard]] std::string px(double value);
/// To a hundredth: across, where a reader may look closer.
[[nodiscard]] std::string fine(double value);
/// Clean and escaped, for texts and attributes.
[[nodiscard]] std::string svg_text(std::string_view text);

/// From values (`low` to `high`) to the picture (`first` to `last`).
struct Scale {
  double first = 0, last = 1, low = 0, high = 1;
  bool logarithmic = false;
  [[nodiscard]] double at(double value) const;
  [[nodiscard]] double inside(double value) const;  ///< the same, kept within the picture
  [[nodiscard]] std::string data() const;           ///< "first last low high lin|log", by which values can be read back
};

}  // namespace sendworthy::sheet
