#include "delivery/readings.h"

#include <bit>
#include <cstring>

#include <doctest/doctest.h>

#include "unit/delivery/samples.h"

using namespace sendworthy;

namespace {

bool same_bits(double a, double b) { return std::bit_cast<std::uint64_t>(a) == std::bit_cast<std::uint64_t>(b); }

std::string without_pictures(Readings readings) {
  readings.pictures.reset();
  readings.timelines.clear();
  return delivery::written(readings);
}

}  // namespace

TEST_SUITE("delivery/readings") {
  TEST_CASE("what is read is what was written, to the bit") {
    const auto before = test::odd_readings();
    const auto bytes = delivery::written(before);
    const auto after = delivery::read(bytes);
    REQUIRE(after.has_value());
    CHECK(after->facts.frames == std::int64_t{1} << 40);
    CHECK(same_bits(after->facts.duration_s, before.facts.duration_s));
    CHECK(after->facts.bit_depth == 24);
    CHECK(after->facts.channel_layout == "stereo");
    REQUIRE(after->facts.tags.size() == 2);
    CHECK(after->facts.tags[0].value == before.facts.tags[0].value);
    REQUIRE(after->measurements.size() == before.measurements.size());
    const auto& m = after->measurements[0];
    REQUIRE(m.channels.size() == 5);
    for (std::size_t i = 0; i < 5; ++i) {
      REQUIRE(m.channels[i].has_value() == before.measurements[0].channels[i].has_value());
      if (m.channels[i]) CHECK(same_bits(*m.channels[i], *before.measurements[0].channels[i]));
    }
    CHECK(m.where[0].note == "n");
    CHECK(same_bits(m.where[0].end_s, 2.0 / 3));
    CHECK(m.where_total == 1000);
    CHECK(std::get<bool>(std::get<Value>(after->measurements[1].outcome)));
    CHECK(!std::get<bool>(std::get<Value>(after->measurements[2].outcome)));
    CHECK(std::get<std::string>(std::get<Value>(after->measurements[3].outcome)) == "text");
    CHECK(std::get<NotMeasured>(after->measurements[5].outcome).reason == "too short");
    CHECK(std::get<NotApplicable>(after->measurements[6].outcome).reason == "mono");
    REQUIRE(after->timelines.size() == 2);
    CHECK(std::memcmp(after->timelines[0].values.data(), before.timelines[0].values.data(), 4 * sizeof(float)) == 0);
    CHECK(after->timelines[1].values.empty());
    REQUIRE(after->pictures.has_value());
    CHECK(after->pictures->spectrum.bandwidth_hz == 16000.0);
    CHECK(after->pictures->levels.share == before.pictures->levels.share);
    CHECK(after->pictures->density.share == before.pictures->density.share);
    // Written once more it is the same: no field is left out that the comparison above does not name.
    CHECK(delivery::written(*after) == bytes);
    CHECK(!delivery::read(without_pictures(before))->pictures.has_value());
  }

  TEST_CASE("bytes that are cut, have something behind them, or are others never crash and are never taken for whole") {
    const auto bytes = delivery::written(test::odd_readings());
    for (std::size_t n = 0; n < bytes.size(); ++n) CHECK(!delivery::read(std::string_view(bytes).substr(0, n)).has_value());
    CHECK(!delivery::read(bytes + '\0').has_value());
    // Any byte turned over: whatever is accepted is again what is written.
    for (std::size_t n = 0; n < bytes.size(); ++n) {
      for (const char with : {'\0', '\1', '\x7f', '\xff'}) {
        auto turned = bytes;
        turned[n] = with;
        if (const auto read = delivery::read(turned)) CHECK(delivery::written(*read) == turned);
      }
    }
  }

  TEST_CASE("what no file can be is refused, since renderers take it for granted") {
    const auto refused = [](const auto& change) {
      auto readings = test::odd_readings();
      change(readings);
      return !delivery::read(delivery::written(readings)).has_value();
    };
    CHECK(!refused([](Readings&) {}));
    CHECK(refused([](Readings& r) { r.facts.sample_rate = 0; }));
    CHECK(refused([](Readings& r) { r.facts.channels = 0; }));
    CHECK(refused([](Readings& r) { r.facts.frames = 0; }));
    CHECK(refused([](Readings& r) { r.facts.duration_s = std::nan(""); }));
    CHECK(refused([](Readings& r) { r.facts.duration_s *= 2; }));
    CHECK(refused([](Readings& r) { r.timelines[0].start_s = std::nan(""); }));
    CHECK(refused([](Readings& r) { r.measurements.clear(); }));
    CHECK(refused([](Readings& r) { r.measurements[0].where.resize(kMaxWhere + 1); }));
    CHECK(refused([](Readings& r) { r.measurements[0].where[0].channel = 3; }));
    CHECK(refused([](Readings& r) { r.timelines[0].channel = -1; }));
    CHECK(refused([](Readings& r) { r.timelines[0].step_s = 0; }));
    CHECK(refused([](Readings& r) { r.timelines[0].decimals = 1000; }));
    CHECK(refused([](Readings& r) { r.pictures->spectrum.centre_hz.pop_back(); }));
    CHECK(refused([](Readings& r) { r.pictures->density.cells = 3; }));
    CHECK(refused([](Readings& r) { r.pictures->density.cells = -2; }));
  }
}
