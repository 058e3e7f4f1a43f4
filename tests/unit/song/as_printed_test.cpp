// Numbers against limits as they are printed: whoever copies what a sheet says into a plan keeps that plan.
#include <doctest/doctest.h>

#include <algorithm>
#include <limits>
#include <optional>
#include <string>

#include "base/text.h"
#include "song/as_printed.h"
#include "unit/song/arrangement.h"

using namespace sendworthy;
using namespace sendworthy::song;

namespace {

std::string printed(double value) { return base::fixed(value, 1); }

/// "[low, high]" as the sections' numbers are printed.
std::string range_of(const SongSheet& song, std::optional<double> SongSheet::Section::* number) {
  double low = std::numeric_limits<double>::infinity(), high = -low;
  for (const auto& one : song.sections) {
    if (one.*number) low = std::min(low, *(one.*number)), high = std::max(high, *(one.*number));
  }
  return "[" + printed(low) + ", " + printed(high) + "]";
}

}  // namespace

TEST_SUITE("song/as printed") {
  TEST_CASE("a value that is printed as its limit keeps to it, and the next tenth does not") {
    CHECK(as_printed(0.96) == 1.0);
    CHECK(as_printed(-3.14) == -3.1);
    CHECK(as_printed(0.25) == 0.3);  // halves go away from zero, as they are printed
    CHECK(as_printed(31.6, 0) == 32);
    CHECK(as_printed(-0.04) == 0);
    CHECK(at_least(0.951, 1));
    CHECK_FALSE(at_least(0.949, 1));
    CHECK(at_most(8.549, 8.5));
    CHECK_FALSE(at_most(8.551, 8.5));
    CHECK(at_least(11.57, 11.6));
    CHECK(at_most(30.4, 30, 0));
    CHECK_FALSE(at_most(30.6, 30, 0));
    CHECK_FALSE(at_least(-std::numeric_limits<double>::infinity(), -200));
    CHECK_FALSE(at_most(std::numeric_limits<double>::quiet_NaN(), 1));
  }

  TEST_CASE("a plan filled with the numbers that its own sheet prints passes, and one with a tenth more does not") {
    test::Arrangement song;
    const auto before = song.check();
    const auto& told = *before.song;
    double least = 99, margin = 99, quiet_to_loud = 0, covered = 0;
    for (const auto& one : told.stems) least = std::min(least, one.movement.value_or(99));
    const auto loudness = [&](std::size_t i) { return *told.sections[i].loudness; };
    for (const std::size_t i : {0, 1, 2}) margin = std::min(margin, loudness(3) - loudness(i));
    quiet_to_loud = loudness(3) - loudness(0);
    for (const auto& one : told.pairs) covered = std::max(covered, one.masked);
    const auto wish = [&](double more) {
      song.wishes["vocal"] = "above_band = " + range_of(told, &SongSheet::Section::vocal_over_bed);
      song.wishes["backing"] = "under_lead = " + range_of(told, &SongSheet::Section::lead_over_backing);
      song.wishes["dynamics"] = "quiet_to_loud = " + printed(quiet_to_loud + more) + "\nbiggest_margin = " + printed(margin + more) + "\nmovement = " + printed(least + more);
      song.wishes["low_end"] = "kick_over_bass = " + printed(*told.low_end->kick_over_bass + more) + "\nbass_steadiness = " + printed(*told.low_end->bass_steadiness - more);
      song.wishes["masking"] = "most = " + base::fixed(covered - 10 * more, 0);
    };
    wish(0);
    const auto kept = song.check();
    for (const auto* id : {"vocal-placement", "backing-placement", "quiet-to-loud", "biggest-section", "movement", "kick-over-bass", "bass-steadiness", "priority-masking"}) {
      CAPTURE(id);
      CAPTURE(test::words(kept, id));
      CHECK(test::finding(kept, id).status == Status::pass);
    }
    wish(0.1);
    const auto missed = song.check();
    for (const auto* id : {"quiet-to-loud", "biggest-section", "movement", "kick-over-bass", "bass-steadiness", "priority-masking"}) {
      CAPTURE(id);
      CAPTURE(test::words(missed, id));
      CHECK((test::finding(missed, id).status == Status::fail || test::finding(missed, id).status == Status::warn));
    }
  }
}
