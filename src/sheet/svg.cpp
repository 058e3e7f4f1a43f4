#include "sheet/svg.h"

#include <algorithm>
#include <cmath>

#include "base/text.h"

namespace sendworthy::sheet {

std::string px(double value) {
  if (!std::isfinite(value)) return "0";
  auto text = base::fixed(value, 1);
  if (text.ends_with(".0")) text.resize(text.size() - 2);
  return text;
}

std::string fine(double value) {
  if (!std::isfinite(value)) return "0";
  auto text = base::fixed(value, 2);
  while (text.ends_with('0')) text.pop_back();
  if (text.ends_with('.')) text.pop_back();
  return text;
}

std::string svg_text(std::string_view text) { return base::for_xml(base::for_terminal(text)); }

double Scale::at(double value) const {
  const double share = logarithmic ? std::log(value / low) / std::log(high / low) : (value - low) / (high - low);
  return first + share * (last - first);
}

double Scale::inside(double value) const { return std::clamp(at(std::clamp(value, low, high)), std::min(first, last), std::max(first, last)); }

std::string Scale::data() const { return px(first) + " " + px(last) + " " + base::shortest(low) + " " + base::shortest(high) + (logarithmic ? " log" : " lin"); }

}  // namespace sendworthy::sheet
