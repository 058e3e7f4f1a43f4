// Hits of packaged kicks that nothing was tuned on, at times that are known.
#include <doctest/doctest.h>
#include <sndfile.h>

#include <algorithm>
#include <cctype>
#include <cmath>
#include <cstddef>
#include <filesystem>
#include <string>
#include <vector>

#include "signals.h"
#include "song/kick_hits.h"

using namespace sendworthy;

namespace {

std::vector<std::string> kicks_below(const std::string& folder) {
  std::vector<std::string> paths;
  if (!std::filesystem::exists(folder)) return paths;
  for (const auto& entry : std::filesystem::recursive_directory_iterator(folder)) {
    auto name = entry.path().filename().string();
    std::transform(name.begin(), name.end(), name.begin(), [](unsigned char letter) { return std::tolower(letter); });
    if (name.find("kick") != std::string::npos || name.find("bassdrum") != std::string::npos || name.rfind("bd", 0) == 0) paths.push_back(entry.path().string());
  }
  std::sort(paths.begin(), paths.end());
  return paths;
}

// First channel; empty where libsndfile cannot read it.
std::vector<float> sound_of(const std::string& path, int& rate) {
  SF_INFO info{};
  SNDFILE* file = sf_open(path.c_str(), SFM_READ, &info);
  if (file == nullptr) return {};
  std::vector<float> all(static_cast<std::size_t>(info.frames * info.channels)), left;
  sf_readf_float(file, all.data(), info.frames);
  sf_close(file);
  for (std::size_t n = 0; n < all.size(); n += static_cast<std::size_t>(info.channels)) left.push_back(all[n]);
  rate = info.samplerate;
  return left;
}

}  // namespace

TEST_SUITE("song/kick_hits") {
  TEST_CASE("packaged kicks with their tails, in all loudnesses of a drummer: 98 % are found, within 10 ms of one another") {
    auto paths = kicks_below("/usr/share/hydrogen/data/drumkits");
    const auto more = kicks_below("/usr/share/lmms/samples/drums");
    paths.insert(paths.end(), more.begin(), more.end());
    std::size_t played = 0, found = 0, extra = 0, sounds = 0;
    for (const auto& path : paths) {
      // Two drums in one file, a quarter of a second apart.
      if (path.find("bassdrum01") != std::string::npos) continue;
      int rate = 0;
      const auto sound = sound_of(path, rate);
      if (sound.empty()) continue;
      ++sounds;
      std::vector<float> stem(static_cast<std::size_t>(22 * rate), 0.0f);
      std::vector<double> times;
      test::Random random(7);
      const double steps[] = {0.5, 0.25, 0.375, 0.25, 0.5, 0.333, 0.75, 0.6};
      double at = 0.5;
      while (at < 20) {
        const auto from = static_cast<std::size_t>(std::llround(at * rate));
        const auto gain = static_cast<float>(test::from_db(-random.between(0, 6)));
        for (std::size_t n = 0; n < sound.size() && from + n < stem.size(); ++n) stem[from + n] += gain * sound[n];
        times.push_back(at);
        at += steps[times.size() % 8];
      }
      song::KickHits hits(rate, 1);
      const float* rows[] = {stem.data()};
      hits.take(rows, static_cast<int>(stem.size()));
      const auto at_s = hits.finish();

      // A sample may begin with some silence of its own: what counts is how late a hit is against that sample's others.
      std::vector<double> lates;
      for (const double time : times) {
        const auto next = std::lower_bound(at_s.begin(), at_s.end(), time - 0.02);
        if (next != at_s.end() && *next < time + 0.04) lates.push_back(*next - time);
      }
      std::sort(lates.begin(), lates.end());
      const double usual = lates.empty() ? 0 : lates[lates.size() / 2];
      const auto right = std::count_if(lates.begin(), lates.end(), [&](double late) { return std::abs(late - usual) < 0.010; });
      played += times.size();
      found += static_cast<std::size_t>(right);
      extra += at_s.size() - static_cast<std::size_t>(right);
    }
    MESSAGE(sounds << " kicks, " << played << " hits, " << found << " found, " << extra << " elsewhere");
    REQUIRE(sounds >= 20);
    CHECK(static_cast<double>(found) >= 0.98 * static_cast<double>(played));
    CHECK(static_cast<double>(extra) <= 0.02 * static_cast<double>(played));
  }
}
