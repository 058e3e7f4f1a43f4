// What must not change a reading, and what must change it by a known amount.
#include <cmath>
#include <map>
#include <set>

#include <doctest/doctest.h>

#include "signals.h"
#include "standards/reading.h"

using namespace sendworthy;
using namespace sendworthy::test;

namespace {

Channels song(int rate, std::int64_t frames, int channels = 2) {
  Channels out;
  for (int c = 0; c < channels; ++c) {
    auto x = noise(static_cast<std::uint64_t>(10 + c), 0.3, frames);
    const auto tone = sine(rate, 110.0 + 30 * c, 0.2, frames);
    double low = 0;
    for (std::size_t n = 0; n < x.size(); ++n) {
      low += 0.3 * (x[n] - low);
      // Loud and quiet by turns, so that gates have work to do.
      const double shape = 0.1 + 0.9 * std::pow(std::sin(static_cast<double>(n) / rate * 0.9), 2);
      x[n] = shape * (low + tone[n]);
    }
    out.push_back(std::move(x));
  }
  return out;
}

measure::PassResult pass(std::unique_ptr<audio::Source> source, int threads = 1, const measure::PassOptions& options = {}) {
  auto file = as_file(std::move(source));
  measure::Crew crew(threads);
  std::optional<measure::PassResult> result;
  crew.run(1, [&](std::size_t) {
    auto made = measure::run_pass(file, options, crew);
    if (made) result = std::move(*made);
  });
  REQUIRE(result.has_value());
  return *result;
}

std::string words(const Outcome& outcome) {
  if (const auto* value = std::get_if<Value>(&outcome)) {
    if (const auto* d = std::get_if<double>(value)) return std::to_string(*d);
    if (const auto* b = std::get_if<bool>(value)) return *b ? "yes" : "no";
    return std::get<std::string>(*value);
  }
  if (const auto* n = std::get_if<NotMeasured>(&outcome)) return n->reason;
  return std::get<NotApplicable>(outcome).reason;
}

void check_equal(const measure::PassResult& a, const measure::PassResult& b) {
  CHECK(a.audio_digest == b.audio_digest);
  REQUIRE(a.measurements.size() == b.measurements.size());
  for (std::size_t i = 0; i < a.measurements.size(); ++i) {
    CAPTURE(a.measurements[i].key);
    CHECK(a.measurements[i].key == b.measurements[i].key);
    CHECK(words(a.measurements[i].outcome) == words(b.measurements[i].outcome));
    CHECK(a.measurements[i].note == b.measurements[i].note);
    CHECK(a.measurements[i].where_total == b.measurements[i].where_total);
    CHECK(a.measurements[i].channels == b.measurements[i].channels);
    const auto &x = a.measurements[i].where, &y = b.measurements[i].where;
    REQUIRE(x.size() == y.size());
    for (std::size_t k = 0; k < x.size(); ++k) {
      CHECK(x[k].start_frame == y[k].start_frame);
      CHECK(x[k].end_frame == y[k].end_frame);
      CHECK(x[k].channel == y[k].channel);
      CHECK(x[k].note == y[k].note);
    }
  }
  REQUIRE(a.timelines.size() == b.timelines.size());
  for (std::size_t i = 0; i < a.timelines.size(); ++i) {
    const auto &x = a.timelines[i], &y = b.timelines[i];
    CHECK(x.id == y.id);
    CHECK(x.channel == y.channel);
    CHECK(x.values.size() == y.values.size());
    // NaN stands for nothing read, and is no different from itself here.
    CHECK(std::equal(x.values.begin(), x.values.end(), y.values.begin(), y.values.end(),
                     [](float v, float w) { return v == w || (std::isnan(v) && std::isnan(w)); }));
  }
}

// Hands out frames in odd portions.
class Dribble final : public audio::Source {
 public:
  Dribble(std::unique_ptr<audio::Source> inner, std::int64_t portion) : inner_(std::move(inner)), portion_(portion) {}
  const audio::StreamFormat& format() const override { return inner_->format(); }
  std::optional<std::int64_t> expected_frames() const override { return inner_->expected_frames(); }
  std::int64_t read_codes(std::int32_t* to, std::int64_t frames) override { return inner_->read_codes(to, next(frames)); }
  std::int64_t read_reals(double* to, std::int64_t frames) override { return inner_->read_reals(to, next(frames)); }
  const std::vector<audio::Damage>& damage() const override { return inner_->damage(); }

 private:
  std::int64_t next(std::int64_t frames) {
    const auto wanted = portion_ > 0 ? portion_ : 1 + random_.below(3000);
    return std::min(frames, wanted);
  }
  std::unique_ptr<audio::Source> inner_;
  const std::int64_t portion_;
  Random random_{77};
};

}  // namespace

TEST_SUITE("measure/relations") {
  TEST_CASE("every measurement the catalog calls available is made unless on request, at every rate and channel count") {
    for (const int rate : {8000, 11025, 22050, 44100, 48000, 88200, 96000, 192000, 384000}) {
      for (const int channels : {1, 2, 3, 6, 8}) {
        if (channels > 2 && rate != 48000) continue;
        const auto result = pass(real_source(rate, song(rate, rate / 2, channels), 32));
        std::set<std::string> keys;
        for (const auto& m : result.measurements) {
          keys.insert(m.key);
          CHECK(m.key == m.id);
        }
        for (const auto* entry : catalog().entries) {
          CAPTURE(entry->id);
          CHECK(keys.contains(std::string(entry->id)) == (entry->available && !entry->on_request));
        }
      }
    }
  }

  TEST_CASE("a gain moves every level by itself and nothing else") {
    const auto base = song(48000, 48000 * 8);
    Channels louder{scaled(base[0], from_db(4.5)), scaled(base[1], from_db(4.5))};
    const auto a = pass(real_source(48000, base)), b = pass(real_source(48000, louder));
    const std::set<std::string> levels{"integrated_loudness", "max_momentary_loudness", "max_short_term_loudness", "true_peak",
                                       "sample_peak", "rms_level", "a_weighted_level", "noise_floor", "loop_seam_step"};
    for (std::size_t i = 0; i < a.measurements.size(); ++i) {
      const auto& id = a.measurements[i].id;
      const auto x = number(a.measurements[i].outcome), y = number(b.measurements[i].outcome);
      if (!x || !y) continue;
      CAPTURE(id);
      if (id == "dc_offset" || id == "leading_silence" || id == "trailing_silence" || id == "bandwidth") continue;  // these scale or hang on a level
      const double moved = levels.contains(id) ? 4.5 : id == "headroom" ? -4.5 : 0;
      CHECK(*y - *x == doctest::Approx(moved).scale(1).epsilon(0.001));
    }
  }

  TEST_CASE("any gain, to either side, on codes too, and the loudness range and ratios stay") {
    const auto base = song(44100, 44100 * 8);
    const Reading a(pass(code_source(44100, 32, base)));
    for (const double gain_db : {-30.0, -6.02, 3.0}) {
      CAPTURE(gain_db);
      const Reading b(pass(code_source(44100, 32, {scaled(base[0], from_db(gain_db)), scaled(base[1], from_db(gain_db))})));
      for (const char* id : {"integrated_loudness", "max_momentary_loudness", "max_short_term_loudness", "true_peak", "sample_peak",
                             "rms_level", "a_weighted_level"})
        CHECK(b(id) - a(id) == doctest::Approx(gain_db).epsilon(0.001));
      CHECK(b("dc_offset") == doctest::Approx(a("dc_offset") * from_db(gain_db)).epsilon(0.001));
      for (const char* id : {"loudness_range", "peak_to_loudness_ratio", "peak_to_short_term_ratio", "crest_factor", "limited_peaks",
                             "phase_correlation", "min_phase_correlation", "low_phase_correlation", "mono_fold_loss",
                             "mono_fold_loss_low", "side_to_mid", "side_level_low", "channel_balance"})
        CHECK(b(id) - a(id) == doctest::Approx(0).scale(1).epsilon(0.002));
    }
  }

  TEST_CASE("sound moved by any number of frames reads the same within what the grid of 10 ms allows") {
    const auto base = song(48000, 48000 * 6);
    const Reading a(pass(real_source(48000, base)));
    for (const std::int64_t shift : {1, 77, 240, 4799}) {
      CAPTURE(shift);
      const Reading b(pass(real_source(48000, {concatenated({silence(shift), base[0]}), concatenated({silence(shift), base[1]})})));
      for (const char* id : {"integrated_loudness", "max_momentary_loudness", "max_short_term_loudness", "loudness_range"})
        CHECK(b(id) - a(id) == doctest::Approx(0).scale(1).epsilon(0.1));
      for (const char* id : {"true_peak", "phase_correlation", "side_to_mid", "low_phase_correlation", "side_level_low", "mono_fold_loss"})
        CHECK(b(id) - a(id) == doctest::Approx(0).scale(1).epsilon(0.02));
      CHECK(b("sample_peak") == a("sample_peak"));
      CHECK(b.measurement("sample_peak").where.at(0).start_frame == a.measurement("sample_peak").where.at(0).start_frame + shift);
      CHECK(b("leading_silence") * 48000 == doctest::Approx(a("leading_silence") * 48000 + static_cast<double>(shift)));
      CHECK(b("trailing_silence") == doctest::Approx(a("trailing_silence")));
    }
  }

  TEST_CASE("swapping channels turns the balance and the delay round and leaves the rest") {
    const auto base = song(48000, 48000 * 5);
    const auto a = pass(code_source(48000, 24, {base[0], base[1]})), b = pass(code_source(48000, 24, {base[1], base[0]}));
    for (std::size_t i = 0; i < a.measurements.size(); ++i) {
      const auto& m = a.measurements[i];
      CAPTURE(m.id);
      const auto x = number(m.outcome), y = number(b.measurements[i].outcome);
      if (m.id == "channel_balance") {
        CHECK(*y == doctest::Approx(-*x).epsilon(1e-6));
      } else if (x && y) {
        CHECK(*y == doctest::Approx(*x).scale(1).epsilon(1e-6));
      }
    }
  }

  TEST_CASE("whole hops of silence in front move places and change no loudness") {
    const auto base = song(48000, 48000 * 6);
    Channels late{concatenated({silence(48000), base[0]}), concatenated({silence(48000), base[1]})};
    const Reading a(pass(real_source(48000, base))), b(pass(real_source(48000, late)));
    for (const char* id : {"integrated_loudness", "max_momentary_loudness", "max_short_term_loudness", "true_peak", "sample_peak",
                           "phase_correlation", "side_to_mid", "mono_fold_loss", "low_phase_correlation"})
      CHECK(a(id) == doctest::Approx(b(id)).scale(1).epsilon(0.01));
    CHECK(b.measurement("max_momentary_loudness").where.at(0).start_frame ==
          a.measurement("max_momentary_loudness").where.at(0).start_frame + 48000);
    CHECK(b.measurement("sample_peak").where.at(0).start_frame == a.measurement("sample_peak").where.at(0).start_frame + 48000);
    CHECK(b("leading_silence") == doctest::Approx(a("leading_silence") + 1));
  }

  TEST_CASE("the portions a decoder hands out do not matter") {
    const auto base = song(44100, 44100 * 4);
    const auto whole = pass(code_source(44100, 24, base));
    for (const std::int64_t portion : {1, 37, 0})
      check_equal(whole, pass(std::make_unique<Dribble>(code_source(44100, 24, base), portion)));
  }

  TEST_CASE("padding codes to a wider container keeps digest and levels") {
    const auto base = song(48000, 48000 * 3);
    // The same 16-bit codes, once as 16 bits and once in 24.
    Channels coarse = base;
    for (auto& channel : coarse)
      for (auto& v : channel) v = std::nearbyint(v * 32768) / 32768;
    const auto a = pass(code_source(48000, 16, coarse)), b = pass(code_source(48000, 24, coarse));
    CHECK(a.audio_digest == b.audio_digest);
    CHECK(Reading(a)("integrated_loudness") == Reading(b)("integrated_loudness"));
    CHECK(Reading(b)("effective_bit_depth") == 16);
    CHECK(pass(code_source(48000, 24, base)).audio_digest != b.audio_digest);
    CHECK(pass(code_source(44100, 24, coarse)).audio_digest != b.audio_digest);
  }

  TEST_CASE("minus zero is zero to the digest, and a changed sample is not") {
    Samples x = noise(1, 0.5, 1000), y = x;
    x[500] = 0.0, y[500] = -0.0;
    CHECK(pass(real_source(48000, {x})).audio_digest == pass(real_source(48000, {y})).audio_digest);
    y[500] = 1e-30;
    CHECK(pass(real_source(48000, {x})).audio_digest != pass(real_source(48000, {y})).audio_digest);
  }

  TEST_CASE("timelines stay bounded and keep their highest value") {
    measure::PassOptions options;
    options.timelines = true;
    const auto format = audio::plain_format(8000, 1, audio::SampleKind::integer, 16);
    const auto result = pass(std::make_unique<audio::CodeSource>(format, 8000 * 2000,
                                                                 [](std::int64_t first, std::int64_t frames, std::int32_t* out) {
                                                                   for (auto n = first; n < first + frames; ++n)
                                                                     *out++ = n == 8000 * 1234 ? 1 << 30 : (n % 50 < 25 ? 1 << 24 : -(1 << 24));
                                                                 }),
                             1, options);
    bool found = false;
    for (const auto& line : result.timelines) {
      CHECK(line.values.size() <= 8192);
      if (line.id != "peak") continue;
      found = true;
      const auto at = static_cast<std::size_t>(1234 / line.step_s);
      CHECK(line.values.at(at) == doctest::Approx(-6.02).epsilon(0.01));
    }
    CHECK(found);
  }

  TEST_CASE("no frame at all is an error, and a stop is said") {
    measure::Crew crew(1);
    auto empty = as_file(real_source(48000, {Samples{}}));
    const auto nothing = measure::run_pass(empty, {}, crew);
    REQUIRE(!nothing.has_value());
    CHECK(nothing.error().code == ErrorCode::no_audio);
    const std::atomic<bool> stop{true};
    measure::PassOptions options;
    options.stop = &stop;
    auto file = as_file(real_source(48000, song(48000, 48000)));
    const auto stopped = measure::run_pass(file, options, crew);
    REQUIRE(stopped.has_value());
    CHECK(stopped->interrupted);
  }
}

TEST_SUITE("measure/threads") {
  TEST_CASE("any number of threads on one file gives the same") {
    measure::PassOptions options;
    options.timelines = true;
    options.second_meter = true;
    options.requests = {{"side_level_low", {{"below_hz", 150.0}}}};
    const auto base = song(48000, 48000 * 5);
    const auto alone = pass(real_source(48000, base), 1, options);
    for (const int threads : {2, 3, 5}) check_equal(alone, pass(real_source(48000, base), threads, options));
  }

  TEST_CASE("any number of threads on codes, on many channels, and on files shorter than a block gives the same") {
    measure::PassOptions options;
    options.timelines = true;
    for (const auto& [channels, frames] : {std::pair{2, std::int64_t{1}}, {2, 8193}, {1, 100000}, {6, 60000}, {11, 30000}}) {
      auto base = song(48000, frames, channels);
      base[0][static_cast<std::size_t>(frames / 2)] = 1.0;
      const auto& channels_here = channels;
      CAPTURE(channels_here);
      const auto& frames_here = frames;
      CAPTURE(frames_here);
      const auto alone = pass(code_source(48000, 24, base), 1, options);
      for (const int threads : {2, 5}) check_equal(alone, pass(code_source(48000, 24, base), threads, options));
    }
  }

  TEST_CASE("many files on few threads all end, each with its own result") {
    std::vector<std::string> digests(9);
    const auto run = [&](int threads) {
      measure::Crew crew(threads);
      crew.run(digests.size(), [&](std::size_t i) {
        auto file = as_file(real_source(48000, {noise(i, 0.5, 20000 + 9000 * static_cast<std::int64_t>(i % 3))}));
        const auto result = measure::run_pass(file, {}, crew);
        digests[i] = result ? result->audio_digest : "none";
      });
      return digests;
    };
    const auto one = run(1);
    CHECK(one == run(2));
    CHECK(one == run(4));
    CHECK(std::set<std::string>(one.begin(), one.end()).size() == one.size());
  }
}
