// Which channel is the low one, told on signals whose spectra are known.
#include <doctest/doctest.h>

#include <cmath>
#include <string>
#include <vector>

#include <algorithm>

#include "audio/memory_source.h"
#include "measure/meter.h"
#include "signals.h"
#include "standards/reading.h"

using namespace sendworthy;
using namespace sendworthy::test;

namespace {

// Pink noise to the ear: every third octave alike, by sines at twelfths of an octave, between two frequencies.
std::vector<double> band(double low_hz, double high_hz, int rate, std::int64_t frames, double phase) {
  std::vector<double> x(static_cast<std::size_t>(frames), 0.0);
  int k = 0;
  for (double hz = low_hz; hz <= high_hz && hz < 0.45 * rate; hz *= std::pow(2.0, 1.0 / 12), ++k) {
    const double step = 2 * 3.14159265358979 * hz / rate;
    for (std::size_t n = 0; n < x.size(); ++n) x[n] += 0.01 * std::sin(step * static_cast<double>(n) + phase + 1.7 * k * k);
  }
  return x;
}

std::string text(const Reading& r, std::string_view id) { return std::get<std::string>(std::get<Value>(r.measurement(id).outcome)); }

struct Surround {
  int rate = 48000;
  std::vector<std::vector<double>> channels;
  std::vector<audio::Speaker> speakers;
  bool known = true;

  [[nodiscard]] Reading read() const {
    auto source = source_of();
    return measured(std::move(source));
  }
  [[nodiscard]] std::unique_ptr<audio::RealSource> source_of() const {
    audio::StreamFormat format;
    format.sample_rate = rate;
    format.channels = static_cast<int>(channels.size());
    format.kind = audio::SampleKind::real;
    format.container_bits = 64;
    format.speakers = speakers;
    format.layout_known = known;
    format.layout = "test";
    const auto frames = static_cast<std::int64_t>(channels.front().size());
    const auto data = channels;
    return std::make_unique<audio::RealSource>(format, frames, [data](std::int64_t first, std::int64_t count, double* out) {
      for (std::int64_t n = 0; n < count; ++n)
        for (std::size_t c = 0; c < data.size(); ++c) *out++ = data[c][static_cast<std::size_t>(first + n)];
    });
  }
};

using enum audio::Speaker;
const std::vector<audio::Speaker> kWaveOrder{left, right, centre, lfe, left_surround, right_surround};
const std::vector<audio::Speaker> kVorbisOrder{left, centre, right, left_surround, right_surround, lfe};

Surround five_one(std::size_t bass, const std::vector<audio::Speaker>& speakers, std::int64_t frames = 96'000) {
  Surround s;
  s.speakers = speakers;
  for (std::size_t c = 0; c < 6; ++c)
    s.channels.push_back(band(30, c == bass ? 110 : 12'000, s.rate, frames, 0.3 * static_cast<double>(c)));
  return s;
}

// The meter by itself, in blocks of a given size: the bandwidth it reads.
double in_blocks(const Surround& s, int block_frames) {
  const auto source = s.source_of();
  const auto& format = source->format();
  const audio::FileFacts facts;
  const std::vector<MeasureRequest> requests;
  const measure::Setup setup{format, facts, requests};
  std::unique_ptr<measure::Meter> meter;
  for (const auto& module : measure::modules()) {
    if (std::any_of(module.entries.begin(), module.entries.end(), [](const CatalogEntry& e) { return e.id == "lfe_bandwidth"; })) meter = module.create(setup);
  }
  REQUIRE(meter != nullptr);
  const auto frames = static_cast<int>(s.channels.front().size());
  for (int at = 0; at < frames; at += block_frames) {
    measure::Block block;
    block.first_frame = at;
    block.frames = std::min(block_frames, frames - at);
    block.channels = format.channels;
    std::vector<float> rows;
    for (const auto& channel : s.channels) rows.insert(rows.end(), channel.begin() + at, channel.begin() + at + block.frames);
    block.rows = rows.data();
    block.stride = block.frames;
    meter->process(block);
  }
  measure::Bus bus;
  bus.duration_s = static_cast<double>(frames) / s.rate;
  bus.peak.assign(s.channels.size(), 0.5);
  measure::Report report;
  meter->report(bus, report);
  for (const auto& m : report.measurements)
    if (m.key == "lfe_bandwidth") return number(m.outcome).value_or(-1);
  return -1;
}

}  // namespace

TEST_SUITE("measure/surround") {
  TEST_CASE("P09: the bass in the LFE's place is right, elsewhere it names the order it looks like") {
    CHECK(text(five_one(3, kWaveOrder).read(), "channel_order_suspect") == "ok");
    CHECK(text(five_one(5, kVorbisOrder).read(), "channel_order_suspect") == "ok");
    CHECK(text(five_one(5, kWaveOrder).read(), "channel_order_suspect") ==
          "swapped: channel 6 holds only bass, and channel 4, the LFE's place, a full range: as in the order L C R Ls Rs LFE");
    CHECK(text(five_one(3, kVorbisOrder).read(), "channel_order_suspect") ==
          "swapped: channel 4 holds only bass, and channel 6, the LFE's place, a full range: as in the order L R C LFE Ls Rs");
    CHECK(text(five_one(0, kWaveOrder).read(), "channel_order_suspect") ==
          "swapped: channel 1 holds only bass, and channel 4, the LFE's place, a full range");
    CHECK(text(five_one(99, kWaveOrder).read(), "channel_order_suspect").starts_with("unclear: no channel holds only bass"));
  }

  TEST_CASE("P09: what reaches up a little is neither bass alone nor a full range") {
    // 55 of the sines lie above 500 Hz, 22 in the bass: a factor of 0.02 puts the treble 30 dB under, 0.0635 20 dB.
    const auto whole = band(30, 12'000, 48'000, 96'000, 1);
    const auto leaking = [&](double factor, std::size_t bass) {
      auto s = five_one(bass, kWaveOrder);
      const auto low = band(30, 110, 48'000, 96'000, 2);
      for (std::size_t n = 0; n < low.size(); ++n) s.channels[3][n] = low[n] + factor * whole[n];
      return text(s.read(), "channel_order_suspect");
    };
    CHECK(leaking(0.02, 99) == "unclear: no channel holds only bass; channel 4, the LFE's place, reaches up");
    CHECK(leaking(0.02, 5) == "unclear: channel 4, the LFE's place, reaches up");
    CHECK(leaking(0.0635, 5).starts_with("swapped: channel 6"));
    CHECK(leaking(0.007, 99) == "ok");  // 39 dB under
  }

  TEST_CASE("P09: more than six channels, and low and high rates") {
    for (const int rate : {8000, 48'000, 192'000}) {
      for (const std::size_t channels : {7u, 8u, 12u, 16u}) {
        for (const std::size_t bass : {3ul, channels - 1}) {
          CAPTURE(rate);
          CAPTURE(channels);
          CAPTURE(bass);
          Surround s;
          s.rate = rate;
          s.speakers.assign(channels, other);
          s.speakers[3] = lfe;
          const auto low = band(30, 110, rate, 2 * rate, 0), whole = band(30, 3000, rate, 2 * rate, 1);
          for (std::size_t c = 0; c < channels; ++c) s.channels.push_back(c == bass ? low : whole);
          const auto said = text(s.read(), "channel_order_suspect");
          if (bass == 3)
            CHECK(said == "ok");
          else
            CHECK(said.starts_with("swapped: channel " + std::to_string(channels) + " holds only bass, and channel 4"));
        }
      }
    }
    Surround many;
    many.speakers.assign(20, other);
    many.speakers[3] = lfe;
    many.channels.assign(20, band(30, 3000, 48'000, 4800, 1));
    CHECK(std::holds_alternative<NotApplicable>(many.read().measurement("channel_order_suspect").outcome));
  }

  TEST_CASE("P09: without a layout the order of WAV is assumed, and said") {
    auto s = five_one(3, std::vector<audio::Speaker>(6, unknown));
    s.known = false;
    const auto r = s.read();
    CHECK(text(r, "channel_order_suspect") == "ok");
    CHECK(r.measurement("channel_order_suspect").note.find("gives no layout") != std::string::npos);
    CHECK(std::get<bool>(std::get<Value>(r.measurement("channel_layout_known").outcome)) == false);
    CHECK(std::get<bool>(std::get<Value>(five_one(3, kWaveOrder).read().measurement("channel_layout_known").outcome)));
  }

  TEST_CASE("P09, P10: silence, shortness and missing channels are no reading") {
    auto s = five_one(3, kWaveOrder);
    for (auto& x : s.channels[3]) x = 0;
    CHECK(s.read().reason("channel_order_suspect").find("silent") != std::string::npos);
    CHECK(s.read().reason("lfe_bandwidth") == "the LFE is silent");
    // Nothing in the LFE's place and bass alone elsewhere: that tells.
    s = five_one(5, kWaveOrder);
    for (auto& x : s.channels[3]) x = 0;
    CHECK(text(s.read(), "channel_order_suspect").starts_with("swapped: channel 6 holds only bass, and channel 4, the LFE's place, nothing"));
    CHECK(five_one(3, kWaveOrder, 40'000).read().reason("lfe_bandwidth") == "shorter than a second");
    for (const std::int64_t frames : {1, 100, 47'999}) CHECK(!five_one(3, kWaveOrder, frames).read().measured("channel_order_suspect"));
    Surround pair;
    pair.speakers = {left, right};
    pair.channels.assign(2, band(30, 5000, 48000, 96'000, 0));
    for (const char* id : {"channel_order_suspect", "lfe_bandwidth"})
      CHECK(std::holds_alternative<NotApplicable>(pair.read().measurement(id).outcome));
    auto five = five_one(99, {left, right, centre, left_surround, right_surround, centre_back});
    CHECK(std::holds_alternative<NotApplicable>(five.read().measurement("lfe_bandwidth").outcome));
  }

  TEST_CASE("P10: the reach of the LFE is where its sound ends, at every rate") {
    for (const int rate : {16'000, 44'100, 48'000, 96'000}) {
      for (const double end : {80.0, 120.0, 250.0, 1000.0, 5000.0}) {
        CAPTURE(rate);
        CAPTURE(end);
        Surround s;
        s.rate = rate;
        s.speakers = kWaveOrder;
        for (int c = 0; c < 6; ++c) s.channels.push_back(band(30, c == 3 ? end : 6000, rate, 2 * rate, c));
        const double read = s.read()("lfe_bandwidth");
        // A third octave about the place still holds it: half a band beyond, a step of a twelfth, and the slopes of the window.
        CHECK(read > end / std::pow(2.0, 1.0 / 6));
        CHECK(read < end + 85 + 0.2 * end);
      }
    }
  }

  TEST_CASE("P10: a steep low-pass at 150 Hz stays below 400 Hz, and a leak 20 dB down is seen") {
    Surround s = five_one(3, kWaveOrder);
    auto x = band(30, 12'000, 48'000, 96'000, 0);
    // Two Butterworth sections of second order each, twice: 24 dB an octave (Linkwitz-Riley at 150 Hz).
    const double w = std::tan(3.14159265358979 * 150 / 48'000), norm = 1 / (1 + std::sqrt(2.0) * w + w * w);
    for (int pass = 0; pass < 2; ++pass) {
      double x1 = 0, x2 = 0, y1 = 0, y2 = 0;
      for (auto& v : x) {
        const double y = norm * (w * w * (v + 2 * x1 + x2) - 2 * (w * w - 1) * y1 - (1 - std::sqrt(2.0) * w + w * w) * y2);
        x2 = x1, x1 = v, y2 = y1, y1 = y, v = y;
      }
    }
    s.channels[3] = x;
    CHECK(s.read()("lfe_bandwidth") > 250);
    CHECK(s.read()("lfe_bandwidth") < 400);
    CHECK(text(s.read(), "channel_order_suspect") == "ok");
    const auto leak = band(30, 12'000, 48'000, 96'000, 1);
    for (std::size_t n = 0; n < x.size(); ++n) s.channels[3][n] += 0.1 * leak[n];
    CHECK(s.read()("lfe_bandwidth") > 5000);
  }

  TEST_CASE("any split into blocks reads the same") {
    const auto s = five_one(3, kWaveOrder);
    const double whole = in_blocks(s, 96'000);
    CHECK(whole > 80);
    CHECK(whole < 160);
    for (const int block : {1, 63, 4096, 7777}) CHECK(in_blocks(s, block) == whole);
  }
}
