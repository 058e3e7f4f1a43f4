#include "measure/step_lattice.h"

#include <algorithm>
#include <cmath>

namespace sendworthy::measure {
namespace {

constexpr int kFirst = 3;         // what lies nearer to zero stands near every grid's middle tooth
constexpr double kRatio = 1.002;  // from one width that is tried to the next
constexpr double kSlack = 0.001;  // half of that, as far as a tooth may be off at first
constexpr double kTried = 2500;   // ln(1100/8)/ln(1.002)
constexpr double kLeast = 0.5;    // share beyond what chance gives, to be looked at more closely

// Σ counts[from … to], both inside the reach.
struct Sums {
  explicit Sums(const std::vector<std::uint32_t>& counts) : to(counts.size() + 1, 0) {
    for (std::size_t i = 0; i < counts.size(); ++i) to[i + 1] = to[i] + counts[i];
  }
  [[nodiscard]] double over(double from, double last) const {
    const double end = static_cast<double>(to.size()) - 2;
    const double low = std::max(0.0, std::ceil(from)), high = std::min(end, std::floor(last));
    if (high < low) return 0;
    return static_cast<double>(to[static_cast<std::size_t>(high) + 1] - to[static_cast<std::size_t>(low)]);
  }
  std::vector<std::int64_t> to;
};

// How much more often than by chance the values up to `teeth` stand within the tolerance of a tooth, 0 … 1.
double excess(const Sums& sums, double width, int teeth, double step) {
  double on = 0, covered = 0;
  for (int k = 1; k <= teeth; ++k) {
    const double off = 0.5 + step / 2 + kSlack * k * width;
    on += sums.over(k * width - off, k * width + off);
    covered += std::min(width, 2 * off);
  }
  const double all = sums.over(std::max<double>(kFirst, width / 2), (teeth + 0.5) * width);
  const double chance = covered / (teeth * width);
  if (all <= 0 || chance >= 0.8) return 0;
  return (on / all - chance) / (1 - chance);
}

// Least squares over the values at the teeth, further and further out as the width gets sharper.
double refined(const std::vector<std::uint32_t>& counts, double width, double step) {
  const int last = static_cast<int>((StepLattice::kReach - 2) / width);
  for (int teeth = 8;; teeth = std::min(2 * teeth, last)) {
    double along = 0, square = 0;
    for (int k = 1; k <= std::min(teeth, last); ++k) {
      const double off = 0.5 + step / 2 + (teeth <= 8 ? kSlack * k * width : 1);
      const int from = std::max(kFirst, static_cast<int>(std::ceil(k * width - off)));
      const int to = std::min(StepLattice::kReach - 1, static_cast<int>(std::floor(k * width + off)));
      for (int v = from; v <= to; ++v) {
        along += static_cast<double>(counts[static_cast<std::size_t>(v)]) * k * v;
        square += static_cast<double>(counts[static_cast<std::size_t>(v)]) * k * k;
      }
    }
    if (square > 0) width = along / square;
    if (teeth >= last) return width;
  }
}

}  // namespace

StepLattice::Finding StepLattice::look(double step) const {
  Finding found;
  if (counts_.empty()) return found;
  for (std::size_t v = kFirst; v < counts_.size(); ++v) found.samples += counts_[v], found.values += counts_[v] > 0;
  const Sums sums(counts_);
  std::vector<double> widths;
  double best = 0;
  for (double width = std::max(kNarrowest, 4 * step); width <= kWidest; width *= kRatio) {
    const double more = excess(sums, width, 8, step);
    if (more > kLeast) widths.push_back(width);
    best = std::max(best, more);
  }
  // Whatever stands on a grid stands on its half and its third as well: the widest that does nearly as well is the one.
  double width = 0, near = 0.95 * best;
  for (const double w : widths) {
    const double more = excess(sums, w, 8, step);
    if (more < near) continue;
    if (width > 0 && w < 1.01 * width && more < excess(sums, width, 8, step)) continue;
    width = w;
  }
  if (width <= 0) return found;
  width = refined(counts_, width, step);
  const int last = static_cast<int>((kReach - 2) / width);
  const double off = 0.5 + step / 2;
  double on = 0;
  for (int k = 1; k <= last; ++k) on += sums.over(k * width - off, k * width + off);
  const double all = sums.over(std::max<double>(kFirst, width / 2), last * width + width / 2);
  if (all <= 0) return found;
  found.width = width;
  found.share = on / all;
  // Each different value is one draw, however often it comes: samples that follow each other are not independent.
  const double usual = on / last, counts_from = std::max(1.0, 0.05 * usual);
  int different = 0, standing = 0;
  for (int v = std::max(kFirst, static_cast<int>(width / 2)); v < kReach; ++v) {
    if (static_cast<double>(counts_[static_cast<std::size_t>(v)]) < counts_from) continue;
    ++different;
    standing += std::abs(v - width * std::round(v / width)) <= off;
  }
  const double chance = std::min(0.99, (std::floor(2 * off / step) + 1) * step / width);
  const double share = different > 0 ? static_cast<double>(standing) / different : 0;
  if (share <= chance) return found;
  // Chernoff's bound of the binomial tail, for every width that was tried.
  double divergence = share * std::log(share / chance);
  if (share < 1) divergence += (1 - share) * std::log((1 - share) / (1 - chance));
  found.log10_chance = std::min(0.0, std::log10(kTried) - different * divergence / std::log(10.0));
  return found;
}

}  // namespace sendworthy::measure
