// What the finding about stems says of each cause.
#include <algorithm>
#include <cmath>

#include "base/text.h"
#include "ordered_set.h"
#include "signals.h"

using namespace sendworthy;
using namespace ordered;
using test::Clip;

namespace {

std::string words_of_stems(const Clip& mix, const Clip& a, const Clip& b, std::vector<Where>* where = nullptr) {
  Set set;
  set.add("main", "main", mix);
  set.add("stem", "band", a, "rules = \"./loose.toml\"\n");
  set.add("stem", "singer", b, "rules = \"./loose.toml\"\n");
  const auto sheet = set.check();
  CHECK(status_of(sheet, "stems-sum-to-mix") == Status::fail);
  if (where != nullptr) *where = found(sheet, "stems-sum-to-mix")->where;
  return words_of(sheet, "stems-sum-to-mix");
}

Clip muted(const Clip& clip, double from_s, double to_s) {
  const auto from = static_cast<std::size_t>(from_s * clip.rate), to = static_cast<std::size_t>(to_s * clip.rate);
  return changed(clip, [&](auto& x) { std::fill(x.begin() + static_cast<std::ptrdiff_t>(from), x.begin() + static_cast<std::ptrdiff_t>(to), 0.0); });
}

}  // namespace

TEST_CASE("a clipped mix is told by where it stands flat, and a muted stem by its name and its place") {
  auto flat = song();
  double peak = 0;
  for (const auto& channel : flat.channels) {
    for (const double v : channel) peak = std::max(peak, std::abs(v));
  }
  flat.each([&](double v) { return std::clamp(v, -peak / 2, peak / 2); });
  auto words = words_of_stems(flat, band(), singer());
  CHECK_MESSAGE(has(words, "distortion on the mix bus: clipping"), words);
  CHECK_MESSAGE(has(words, base::fixed(test::to_db(peak / 2), 2) + " dBFS"), words);

  std::vector<Where> where;
  words = words_of_stems(sum(muted(band(), 4, 7), singer()), band(), singer(), &where);
  CHECK_MESSAGE(has(words, "muted for a while: band from 4.0 s to 7.0 s in the mix"), words);
  REQUIRE(where.size() == 2);
  CHECK(where[1].start_s == doctest::Approx(4).epsilon(0.02));
  CHECK(where[1].note == "band is missing here in the mix");
  words = words_of_stems(song(), muted(band(), 4, 7), singer(), &where);
  CHECK_MESSAGE(has(words, "muted for a while: band from 4.0 s to 7.0 s in its file, it seems"), words);
}

TEST_CASE("a stem with left and right changed about, and one in mono, are told by their names") {
  // The band in a room: each side comes back on the other.
  auto wide = band();
  const auto dry = wide;
  for (std::size_t c = 0; c < 2; ++c) {
    for (std::size_t n = 1500; n < dry.channels[c].size(); ++n) wide.channels[c][n] += (c == 0 ? 0.4 : -0.3) * dry.channels[1 - c][n - (c == 0 ? 1500 : 700)];
  }
  auto crossed = wide, mono = wide;
  std::swap(crossed.channels[0], crossed.channels[1]);
  for (std::size_t n = 0; n < mono.channels[0].size(); ++n) mono.channels[0][n] = mono.channels[1][n] = (mono.channels[0][n] + mono.channels[1][n]) / 2;
  const auto mix = sum(wide, singer());
  auto words = words_of_stems(mix, crossed, singer());
  CHECK_MESSAGE(has(words, "left and right changed about: band;"), words);
  words = words_of_stems(mix, mono, singer());
  CHECK_MESSAGE(has(words, "folded to mono, while it stands in stereo in the mix: band;"), words);
}

TEST_CASE("versions that were clipped or limited each are told as processing, not as something missing") {
  // Of samples, with a gain that falls at once and rises again within 50 ms.
  const auto limited = [](Clip clip, double ceiling) {
    double gain = 1;
    for (std::size_t n = 0; n < clip.channels[0].size(); ++n) {
      const double peak = std::max(std::abs(clip.channels[0][n]), std::abs(clip.channels[1][n]));
      gain += (1 - gain) / (0.05 * clip.rate);
      if (peak * gain > ceiling) gain = ceiling / peak;
      for (auto& channel : clip.channels) channel[n] *= gain;
    }
    return clip;
  };
  double peak = 0;
  for (const auto& channel : song().channels) {
    for (const double v : channel) peak = std::max(peak, std::abs(v));
  }
  Set set;
  set.add("main", "main", limited(song(), 0.35 * peak));
  set.add("instrumental", "instrumental", limited(band(), 0.35 * peak));
  set.add("a cappella", "voices", limited(singer(), 0.35 * peak));
  const auto words = words_of(set.check(), "versions-sum");
  CHECK_MESSAGE(has(words, "processing on each of them alone"), words);
  CHECK_MESSAGE(!has(words, "missing"), words);
}
