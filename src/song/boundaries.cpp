#include "song/boundaries.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <cstdlib>
#include <numeric>
#include <utility>

namespace sendworthy::song {
namespace {

double P(const char* n, double d) { const char* v = std::getenv(n); return v ? std::atof(v) : d; }

constexpr double kLeastS = 6;
constexpr std::size_t kSide = 3;  // timbre, harmony, level: kinds of feature

using Point = std::array<float, kBands + kPitches + 1>;

// What is compared, in units in which every kind of feature spreads over about one.
std::vector<Point> points_of(const Features& f, std::size_t from, std::size_t to, std::size_t per) {
  std::vector<Point> points;
  double loudest = 0;
  for (auto i = from; i < to; ++i) loudest = std::max(loudest, static_cast<double>(f.level[i]));
  const double floor = loudest * 1e-6 + 1e-12;
  for (auto i = from; i + per <= to; i += per) {
    Point p{};
    std::array<double, kBands> timbre{};
    std::array<double, kPitches> harmony{};
    double level = 0;
    for (auto k = i; k < i + per; ++k) {
      for (std::size_t b = 0; b < kBands; ++b) timbre[b] += static_cast<double>(f.timbre[k][b]) / static_cast<double>(per);
      double norm = 1e-9;
      for (const float h : f.harmony[k]) norm += static_cast<double>(h) * static_cast<double>(h);
      for (std::size_t c = 0; c < kPitches; ++c) harmony[c] += static_cast<double>(f.harmony[k][c]) / std::sqrt(norm) / static_cast<double>(per);
      level += static_cast<double>(f.level[k]) / static_cast<double>(per);
    }
    for (std::size_t b = 0; b < kBands; ++b) p[b] = static_cast<float>(std::log10(timbre[b] + floor / kBands));
    double norm = 1e-9;
    for (const double h : harmony) norm += h * h;
    for (std::size_t c = 0; c < kPitches; ++c) p[kBands + c] = static_cast<float>(harmony[c] / std::sqrt(norm));
    p[kBands + kPitches] = static_cast<float>(std::log10(level + floor));
    points.push_back(p);
  }
  return points;
}

struct Range { std::size_t first, last; };
constexpr Range kKinds[kSide] = {{0, kBands}, {kBands, kBands + kPitches}, {kBands + kPitches, kBands + kPitches + 1}};

float distance(const Point& a, const Point& b, Range range) {
  float sum = 0;
  for (auto k = range.first; k < range.last; ++k) sum += (a[k] - b[k]) * (a[k] - b[k]);
  return sum;
}

// Similarity of points no further apart than `reach`: row i holds i … i + reach.
class Band {
 public:
  Band(const std::vector<Point>& points, Range range, std::size_t reach) : reach_(reach), values_(points.size() * (reach + 1)) {
    double sum = 0;
    std::size_t count = 0;
    std::vector<float> some;
    for (std::size_t i = 0; i < points.size(); ++i) {
      for (std::size_t d = 0; d <= reach && i + d < points.size(); ++d) {
        const float one = distance(points[i], points[i + d], range);
        values_[i * (reach + 1) + d] = one;
        if (d > 0) sum += static_cast<double>(one), ++count;
      }
    }
    const float spread = static_cast<float>(P("SPREAD", 1.0)) * static_cast<float>(count == 0 ? 1 : sum / static_cast<double>(count)) + 1e-9f;
    for (auto& v : values_) v = std::exp(-v / spread);
  }
  [[nodiscard]] float at(std::size_t i, std::size_t j) const { return i <= j ? values_[i * (reach_ + 1) + j - i] : values_[j * (reach_ + 1) + i - j]; }

 private:
  std::size_t reach_;
  std::vector<float> values_;
};

// Checkerboard under a Gaussian: how much more alike are both sides to themselves than to one another, −1 … 1.
std::vector<double> novelty_of(const Band& band, std::size_t count, std::size_t half) {
  std::vector<double> taper(half);
  for (std::size_t k = 0; k < half; ++k) taper[k] = std::exp(-2 * std::pow((static_cast<double>(k) + 0.5) / static_cast<double>(half), 2));
  std::vector<double> novelty(count, 0.0);
  for (std::size_t t = 1; t < count; ++t) {
    double within = 0, across = 0, within_weight = 0, across_weight = 0;
    const auto left = std::min(half, t), right = std::min(half, count - t);
    for (std::size_t a = 0; a < std::max(left, right); ++a) {
      for (std::size_t b = 0; b < std::max(left, right); ++b) {
        const double w = taper[a] * taper[b];
        if (a < left && b < left && a != b) within += w * static_cast<double>(band.at(t - 1 - a, t - 1 - b)), within_weight += w;
        if (a < right && b < right && a != b) within += w * static_cast<double>(band.at(t + a, t + b)), within_weight += w;
        if (a < left && b < right) across += w * static_cast<double>(band.at(t - 1 - a, t + b)), across_weight += w;
      }
    }
    if (within_weight > 0 && across_weight > 0) novelty[t] = within / within_weight - across / across_weight;
  }
  return novelty;
}

// Among the peaks, the set with the largest sum above a threshold of which none stand too near to one another.
std::vector<std::size_t> chosen(const std::vector<double>& novelty, double threshold, std::size_t apart) {
  std::vector<std::size_t> peaks;
  for (std::size_t t = 1; t + 1 < novelty.size(); ++t) {
    if (novelty[t] > threshold && novelty[t] > novelty[t - 1] && novelty[t] >= novelty[t + 1] && t >= apart && t + apart <= novelty.size()) peaks.push_back(t);
  }
  std::vector<double> best(peaks.size() + 1, 0.0);  // of the first n peaks
  std::vector<std::size_t> before(peaks.size());
  for (std::size_t n = 0; n < peaks.size(); ++n) {
    std::size_t k = n;
    while (k > 0 && peaks[k - 1] + apart > peaks[n]) --k;
    before[n] = k;
    best[n + 1] = std::max(best[n], best[k] + novelty[peaks[n]] - threshold);
  }
  std::vector<std::size_t> out;
  for (auto n = peaks.size(); n > 0;) {
    if (best[n] == best[n - 1]) --n;
    else out.push_back(peaks[n - 1]), n = before[n - 1];
  }
  std::reverse(out.begin(), out.end());
  return out;
}

}  // namespace

std::vector<double> boundaries_of(const Features& f, double from_s, double to_s) {
  const auto from = f.frame_at(from_s), to = f.frame_at(to_s);
  const auto per = static_cast<std::size_t>(std::max(1.0, std::round(P("STEP", 0.35) / f.step_s)));
  const auto points = points_of(f, from, to, per);
  const double step = f.step_s * static_cast<double>(per);
  const auto steps = [&](double s) { return static_cast<std::size_t>(std::max(1.0, std::round(s / step))); };
  const std::array<double, 3> sizes{P("K0", 5), P("K1", 10), P("K2", 18)};
  const std::array<double, 3> size_weights{P("KW0", 0.33), P("KW1", 0.33), P("KW2", 0.33)};
  const std::array<double, 3> kinds{P("WT", 0.5), P("WH", 0.3), P("WL", 0.2)};
  std::vector<double> novelty(points.size(), 0.0);
  for (std::size_t kind = 0; kind < kSide; ++kind) {
    const Band band(points, kKinds[kind], 2 * steps(sizes[2]));
    for (std::size_t s = 0; s < 3; ++s) {
      const auto one = novelty_of(band, points.size(), steps(sizes[s]));
      for (std::size_t t = 0; t < one.size(); ++t) novelty[t] += kinds[kind] * size_weights[s] * one[t];
    }
  }
  std::vector<double> out;
  for (const auto t : chosen(novelty, P("TH", 0.06), steps(kLeastS))) out.push_back((static_cast<double>(from + t * per) - 0.5) * f.step_s);
  // Where the sound steps: nearby, the largest change from the time before to the time after.
  const auto fine = points_of(f, from, to, 1);
  const auto width = static_cast<std::size_t>(std::max(1.0, std::round(P("FW", 1.5) / f.step_s)));
  const auto reach = static_cast<std::ptrdiff_t>(P("FR", 1.2) / f.step_s);
  for (auto& at : out) {
    const auto middle = static_cast<std::ptrdiff_t>(std::llround(at / f.step_s + 0.5)) - static_cast<std::ptrdiff_t>(from);
    double most = -1;
    for (auto t = middle - reach; t <= middle + reach; ++t) {
      if (t < static_cast<std::ptrdiff_t>(width) || t + static_cast<std::ptrdiff_t>(width) > std::ssize(fine)) continue;
      Point before{}, after{};
      for (std::size_t k = 0; k < width; ++k) {
        for (std::size_t d = 0; d < before.size(); ++d) {
          before[d] += fine[static_cast<std::size_t>(t) - 1 - k][d] / static_cast<float>(width);
          after[d] += fine[static_cast<std::size_t>(t) + k][d] / static_cast<float>(width);
        }
      }
      const double change = static_cast<double>(distance(before, after, kKinds[0]) + distance(before, after, kKinds[1]) + distance(before, after, kKinds[2]));
      if (change > most) most = change, at = (static_cast<double>(t + static_cast<std::ptrdiff_t>(from)) - 0.5) * f.step_s;
    }
  }
  return out;
}

std::vector<int> likeness_of(const Features&, const std::vector<double>& borders) {
  std::vector<int> out(borders.size() < 2 ? 0 : borders.size() - 1);
  std::iota(out.begin(), out.end(), 1);
  return out;
}

}  // namespace sendworthy::song
