// True peak after lossy encoding: really encoded and decoded, held against another implementation and against what may not
// change it.
#include <doctest/doctest.h>
#include <stdlib.h>
#include <sys/stat.h>

#include <algorithm>
#include <cmath>
#include <cstdlib>
#include <cstring>
#include <fstream>
#include <optional>

#include "audio/aac_trip.h"
#include "audio/lossy_trip.h"
#include "base/helper.h"
#include "dsp/true_peak.h"
#include "faults/sample.h"
#include "signals.h"
#include "standards/reading.h"

using namespace sendworthy;
using namespace sendworthy::test;

namespace {

constexpr const char* kId = "true_peak_after_lossy";

MeasureRequest request(const std::string& codecs) {
  if (codecs == "vorbis 160") return {kId, {}, true};
  return {kId, {{"codecs", codecs}}, true};
}
std::string key(const std::string& codecs) { return key_of(request(codecs)); }

measure::PassOptions asking(const std::vector<std::string>& codecs) {
  measure::PassOptions options;
  options.only = {"true_peak", kId};
  for (const auto& one : codecs) options.requests.push_back(request(one));
  return options;
}

/// Clipped softly after much gain, then turned down to a sample peak of −1.5 dBFS: its waveform rises above that between
/// the samples.
Channels soft_clipped(std::size_t frames) {
  Channels out = music().channels;
  for (auto& channel : out) {
    while (channel.size() < frames) channel.insert(channel.end(), music().channels[0].begin(), music().channels[0].end());
    channel.resize(frames);
    double top = 0;
    for (auto& x : channel) x = std::tanh(12 * x), top = std::max(top, std::abs(x));
    for (auto& x : channel) x *= from_db(-1.5) / top;
  }
  return out;
}

std::vector<float> interleaved_floats(const Channels& channels) {
  const auto mixed = interleaved(channels);
  return {mixed.begin(), mixed.end()};
}

/// One trip of a whole signal.
struct Trip {
  std::vector<float> decoded;
  std::int64_t coded_bytes = 0;
  std::string encoder;
};
Trip trip(audio::LossyTrip& way, const std::vector<float>& sound, int channels) {
  Trip result;
  REQUIRE(way.write(sound.data(), std::ssize(sound) / channels).has_value());
  const auto done = way.finish([&](const float* x, std::int64_t frames) { result.decoded.insert(result.decoded.end(), x, x + frames * channels); });
  REQUIRE_MESSAGE(done.has_value(), (done ? "" : done.error().text));
  result.coded_bytes = way.coded_bytes();
  result.encoder = way.encoder();
  return result;
}
Trip trip(audio::LossyWish wish, int rate, const Channels& channels) {
  const auto sound = interleaved_floats(channels);
  const int count = static_cast<int>(channels.size());
  const auto route = audio::LossyRoute::find(wish, {rate, count}, nullptr);
  REQUIRE_MESSAGE(route.has_value(), (route ? "" : route.error().text));
  auto way = route->start(length(channels[0]));
  REQUIRE(way.has_value());
  return trip(**way, sound, count);
}

double true_peak_db(const std::vector<float>& interleaved, int channels) {
  double top = 0;
  for (int c = 0; c < channels; ++c) {
    std::vector<float> row;
    for (auto n = static_cast<std::size_t>(c); n < interleaved.size(); n += static_cast<std::size_t>(channels)) row.push_back(interleaved[n]);
    dsp::TruePeakMeter meter;
    meter.feed(row.data(), static_cast<int>(row.size()));
    meter.flush();
    top = std::max(top, static_cast<double>(meter.close(std::ssize(row)).value));
  }
  return to_db(top);
}

bool has_ffmpeg() { return base::find_program("ffmpeg").has_value(); }

using Codec = audio::LossyWish::Codec;
struct Named {
  std::string name;
  audio::LossyWish wish;
};
const std::vector<Named>& all_codecs() {
  static const std::vector<Named> list = [] {
    std::vector<Named> all{{"vorbis 160", {Codec::vorbis, 160}}, {"opus 128", {Codec::opus, 128}}, {"mp3 320", {Codec::mp3, 320}}};
    if (has_ffmpeg()) all.push_back({"aac 256", {Codec::aac, 256}});
    return all;
  }();
  return list;
}

/// A folder that is the whole PATH, with a program of one's own called ffmpeg in it.
class OwnPath {
 public:
  explicit OwnPath(const std::string& script = {}) {
    const char* const before = std::getenv("PATH");
    kept_ = before == nullptr ? "" : before;
    if (!script.empty()) {
      const auto path = folder_.path + "/ffmpeg";
      std::ofstream(path) << "#!/bin/sh\nPATH=" << kept_ << "\n" << script << "\n";
      ::chmod(path.c_str(), 0755);
    }
    ::setenv("PATH", folder_.path.c_str(), 1);
  }
  ~OwnPath() { ::setenv("PATH", kept_.c_str(), 1); }
  [[nodiscard]] std::string program() const { return folder_.path + "/ffmpeg"; }
  OwnPath(const OwnPath&) = delete;
  OwnPath& operator=(const OwnPath&) = delete;

 private:
  Folder folder_;
  std::string kept_;
};

bool has(const std::string& text, const std::string& part) { return text.find(part) != std::string::npos; }

/// The same by the ffmpeg program's own encoders and decoders, called as a user would.
std::optional<double> by_ffmpeg(const std::vector<std::string>& encoder, const std::string& format, const Channels& channels, int rate) {
  const auto program = base::find_program("ffmpeg");
  if (!program) return std::nullopt;
  const auto sound = interleaved_floats(channels);
  const std::string_view bytes(reinterpret_cast<const char*>(sound.data()), sound.size() * sizeof(float));
  std::vector<std::string> encode{"-loglevel", "error", "-f", "f32le", "-ar", std::to_string(rate), "-ac", "2", "-i", "pipe:0"};
  encode.insert(encode.end(), encoder.begin(), encoder.end());
  encode.insert(encode.end(), {"-f", format, "pipe:1"});
  const base::HelperLimits limits{.output_bytes = 64 << 20};
  const auto coded = base::run_helper(*program, encode, bytes, limits);
  REQUIRE_MESSAGE(coded.has_value(), (coded ? "" : coded.error().text));
  const auto decoded = base::run_helper(*program, {"-loglevel", "error", "-i", "pipe:0", "-c:a", "pcm_f32le", "-f", "f32le", "pipe:1"}, *coded, limits);
  REQUIRE_MESSAGE(decoded.has_value(), (decoded ? "" : decoded.error().text));
  std::vector<float> out(decoded->size() / sizeof(float));
  std::memcpy(out.data(), decoded->data(), out.size() * sizeof(float));
  return true_peak_db(out, 2);
}

}  // namespace

TEST_SUITE("measure/lossy") {
  TEST_CASE("it is made where a rule asks, and nowhere else") {
    measure::PassOptions options;
    options.only = {"true_peak", kId};
    const auto r = measured(real_source(48000, {noise(1, 0.5, 48000)}), options);
    CHECK_THROWS(static_cast<void>(r.measurement(kId)));
    CHECK(measured(real_source(48000, {noise(1, 0.5, 48000)}), asking({"vorbis 160"})).measured(kId));
  }

  TEST_CASE("the bit rate that was asked for comes out, and who encoded is known") {
    const auto clip = soft_clipped(48000 * 10);
    const auto rate_of = [&](audio::LossyWish wish, const Channels& channels) {
      const auto t = trip(wish, 48000, channels);
      CHECK_FALSE(t.encoder.empty());
      return 8e-3 * static_cast<double>(t.coded_bytes) * 48000 / static_cast<double>(length(channels[0]));
    };
    const Channels mono{clip[0]};
    for (const int kbit_s : {64, 96, 128, 192, 320}) {
      CAPTURE(kbit_s);
      CHECK(rate_of({Codec::mp3, kbit_s}, clip) == doctest::Approx(kbit_s).epsilon(0.01));
      CHECK(rate_of({Codec::mp3, kbit_s}, mono) == doctest::Approx(kbit_s).epsilon(0.01));
      // Variable by nature: what a quality aims at, and what this music needs.
      CHECK(rate_of({Codec::opus, kbit_s}, clip) == doctest::Approx(kbit_s).epsilon(0.15));
      CHECK(rate_of({Codec::vorbis, kbit_s}, clip) == doctest::Approx(kbit_s).epsilon(0.3));
    }
    CHECK(has(trip({Codec::vorbis, 160}, 48000, mono).encoder, "libVorbis"));
    CHECK(has(trip({Codec::opus, 96}, 48000, mono).encoder, "libopus"));
    CHECK(has(trip({Codec::mp3, 128}, 48000, mono).encoder, "LAME"));
    if (has_ffmpeg()) {
      CHECK(rate_of({Codec::aac, 256}, clip) == doctest::Approx(256).epsilon(0.1));
      CHECK(has(trip({Codec::aac, 128}, 48000, mono).encoder, "ffmpeg version"));
    }
  }

  TEST_CASE("a click comes back where it stood, and samples above full scale are not clipped") {
    for (const auto& codec : all_codecs()) {
      for (const int rate : {44100, 48000}) {
        if (codec.wish.codec == Codec::opus && rate == 44100) continue;
        CAPTURE(codec.name);
        CAPTURE(rate);
        const std::int64_t at = 31234;
        Channels click{sum(noise(5, 0.001, rate), impulse(rate, at, 1.4)), noise(6, 0.001, rate)};
        const auto t = trip(codec.wish, rate, click);
        REQUIRE(std::ssize(t.decoded) == 2 * rate);
        std::int64_t best = 0;
        for (std::int64_t n = 0; n < rate; ++n) {
          if (std::abs(t.decoded[static_cast<std::size_t>(2 * n)]) > std::abs(t.decoded[static_cast<std::size_t>(2 * best)])) best = n;
        }
        CHECK(std::abs(best - at) <= 3);
        const auto loud = trip(codec.wish, rate, {sine(rate, 997, 1.5, rate), sine(rate, 997, 1.5, rate)});
        CHECK(std::abs(true_peak_db(loud.decoded, 2) - to_db(1.5)) < 0.8);
      }
    }
  }

  TEST_CASE("soft-clipped sound rises on the way, each codec in its own measure") {
    // Published orders of magnitude for such a signal are +0.4 to +2.7 dBFS; this one is music, so looser.
    const auto clip = soft_clipped(48000 * 12);
    std::vector<std::string> names;
    for (const auto& codec : all_codecs()) names.emplace_back(codec.name);
    const auto r = measured(code_source(48000, 24, clip), asking(names));
    const double own = r("true_peak");
    double worst = -100;
    for (const auto& name : names) {
      CAPTURE(name);
      const auto& m = r.measurement(key(name));
      CHECK(r(key(name)) > own - 0.5);
      CHECK(r(key(name)) < own + 3.5);
      worst = std::max(worst, r(key(name)));
      CHECK(has(m.note, name + " reads "));
      CHECK(has(m.note, "kb/s came out"));
      REQUIRE(m.channels.size() == 2);
      CHECK(std::max(*m.channels[0], *m.channels[1]) == doctest::Approx(r(key(name))));
      REQUIRE_FALSE(m.where.empty());
      CHECK(m.where.size() <= kMaxWhere);
      CHECK(m.where_total >= std::ssize(m.where));
      CHECK(has(m.where[0].note, name));
    }
    CHECK(worst > own + 0.4);
    // All at once is the worst of them.
    std::string joined;
    for (const auto& name : names) joined += (joined.empty() ? "" : "+") + name;
    CHECK(measured(code_source(48000, 24, clip), asking({joined}))(key(joined)) == doctest::Approx(worst));
  }

  TEST_CASE("FFmpeg's way through the same encoders reads alike") {
    // The same libraries called by another program. Vorbis and AAC come out alike to the bit. MP3 is told its filters
    // otherwise. Opus' frames fall elsewhere, and with them its highest peaks: three programs around one libopus were seen
    // 1.8 dB apart.
    if (!has_ffmpeg()) return;
    const auto clip = soft_clipped(48000 * 12);
    struct Case {
      std::string name;
      std::vector<std::string> encoder;
      const char* format;
      double within;
    };
    const std::vector<Case> cases{{"vorbis 160", {"-c:a", "libvorbis", "-q:a", "5"}, "ogg", 0.1},
                                  {"opus 128", {"-c:a", "libopus", "-b:a", "128k"}, "ogg", 2.0},
                                  {"mp3 320", {"-c:a", "libmp3lame", "-b:a", "320k"}, "mp3", 0.6},
                                  {"aac 256", {"-c:a", "aac", "-b:a", "256k"}, "adts", 0.1}};
    for (const auto& c : cases) {
      CAPTURE(c.name);
      const auto other = by_ffmpeg(c.encoder, c.format, clip, 48000);
      REQUIRE(other.has_value());
      const double ours = measured(real_source(48000, clip, 32), asking({c.name}))(key(c.name));
      INFO("ours " << ours << ", FFmpeg's " << *other);
      CHECK(std::abs(ours - *other) <= c.within);
    }
  }

  TEST_CASE("pieces join without a trace: places stand where the sound is, in every piece and at every border") {
    // Loud bursts in silence, one of them across the first border at 16 s; each must be found, and nothing else.
    const std::int64_t frames = 48000 * 40;
    Samples x = noise(9, 0.01, frames);
    const std::vector<double> at_s{1, 15.95, 16.2, 31.98, 33, 39.9};
    for (const double s : at_s) {
      const auto tone = faded(sine(48000, 440, 1.2, 4800), 480);
      for (std::int64_t n = 0; n < 4800; ++n) x[static_cast<std::size_t>(std::llround(s * 48000) + n)] += tone[static_cast<std::size_t>(n)];
    }
    // Not AAC: ffmpeg's encoder turns down by itself whatever exceeds 0.95, called by hand too.
    for (const std::string name : {"vorbis 96", "opus 96", "mp3 128"}) {
      CAPTURE(name);
      const auto r = measured(real_source(48000, {x}), asking({name}));
      CHECK(std::abs(r(key(name)) - to_db(1.2)) < 0.8);
      const auto& m = r.measurement(key(name));
      for (const double s : at_s) {
        CAPTURE(s);
        CHECK(std::any_of(m.where.begin(), m.where.end(), [&](const Where& w) { return w.start_s > s - 0.01 && w.start_s < s + 0.11; }));
      }
      for (const auto& w : m.where)
        CHECK(std::any_of(at_s.begin(), at_s.end(), [&](double s) { return w.start_s > s - 0.01 && w.start_s < s + 0.11; }));
      CHECK(m.where_total >= 6);
      CHECK(m.where_total <= 12);
    }
    // One click in the third piece, for every codec.
    const std::int64_t click_at = 33 * 48000 + 77;
    const auto click = sum(noise(3, 0.001, frames), impulse(frames, click_at, 0.9));
    for (const auto& codec : all_codecs()) {
      CAPTURE(codec.name);
      const auto m = measured(real_source(48000, {click, click}), asking({codec.name})).measurement(key(codec.name));
      REQUIRE_FALSE(m.where.empty());
      CHECK(std::abs(m.where[0].start_frame - click_at) <= 3);
    }
  }

  TEST_CASE("any split into reads, any number of threads and any repetition give the same") {
    auto clip = soft_clipped(48000 * 20);
    const auto options = asking({"vorbis 160", "opus 128+mp3 320"});
    const auto say = [&](int threads) {
      auto file = as_file(real_source(48000, clip, 32));
      measure::Crew crew(threads);
      std::string text;
      crew.run(1, [&](std::size_t) {
        const auto result = measure::run_pass(file, options, crew);
        REQUIRE(result.has_value());
        for (const auto& m : result->measurements) {
          text += m.key + " " + std::to_string(number(m.outcome).value_or(-999)) + " " + m.note;
          for (const auto& w : m.where) text += " " + std::to_string(w.start_frame) + w.note;
          text += "\n";
        }
      });
      return text;
    };
    const auto first = say(1);
    CHECK(has(first, key("opus 128+mp3 320")));
    CHECK(first == say(1));
    CHECK(first == say(2));
    CHECK(first == say(4));
  }

  TEST_CASE("what cannot be known is not measured, with the reason and what to do") {
    const auto reason = [](std::unique_ptr<audio::Source> source, const std::string& codecs) {
      return measured(std::move(source), asking({codecs})).reason(key(codecs));
    };
    const auto tone = [](int rate, int channels, double peak = 0.5) {
      return real_source(rate, Channels(static_cast<std::size_t>(channels), sine(rate, rate / 50.0, peak, rate)));
    };
    CHECK(has(reason(tone(44100, 2), "opus 128"), "48000 Hz"));
    CHECK(has(reason(tone(96000, 2), "mp3 320"), "at most 48000 Hz"));
    CHECK(has(reason(tone(16000, 1), "mp3 320"), "from 8 to 160 kb/s"));
    CHECK(has(reason(tone(192000, 2), "aac 256"), "at most 96000 Hz"));
    CHECK(has(reason(tone(8000, 1), "vorbis 320"), "name a bit rate in between"));
    CHECK(has(reason(tone(48000, 6), "vorbis 160"), "mono and stereo only"));
    CHECK(has(reason(tone(48000, 1), "opus 510"), "up to 256 kb/s"));
    CHECK(has(reason(tone(48000, 2, 100), "vorbis 160"), "+24 dBFS"));
    CHECK(has(reason(real_source(48000, {silence(48000)}), "vorbis 160"), "silent"));
    for (const std::int64_t frames : {1, 2, 100, 4799}) CHECK(has(reason(real_source(48000, {constant(0.5, frames)}), "vorbis 160"), "shorter than"));
    // One of two is enough to leave the worst unknown; what was read is said.
    const auto half = reason(tone(44100, 2), "vorbis 160+opus 128");
    CHECK(has(half, "48000 Hz"));
    CHECK(has(half, "vorbis 160 reads "));
  }

  TEST_CASE("other rates, mono, short files and not-a-numbers are read") {
    const auto read = [](int rate, const Channels& channels, const std::string& codecs) {
      CAPTURE(rate);
      CAPTURE(codecs);
      const auto r = measured(real_source(rate, channels), asking({codecs}));
      REQUIRE_MESSAGE(r.measured(key(codecs)), r.reason(key(codecs)));
      return r(key(codecs));
    };
    for (const int rate : {22050, 32000, 44100, 48000, 88200, 96000, 192000}) {
      const auto x = sine(rate, 440, 0.5, rate / 2);
      CHECK(read(rate, {x, x}, rate < 32000 ? "vorbis 64" : "vorbis 160") == doctest::Approx(to_db(0.5)).epsilon(0.06));
      if (rate <= 48000) CHECK(read(rate, {x, x}, rate < 32000 ? "mp3 64" : "mp3 128") == doctest::Approx(to_db(0.5)).epsilon(0.06));
      // ffmpeg's AAC encoder is far off on a pure tone, called by hand too; here it counts that it comes through.
      if (rate <= 96000 && has_ffmpeg()) CHECK(std::abs(read(rate, {x, x}, rate < 32000 ? "aac 64" : "aac 256") - to_db(0.5)) < 8);
    }
    for (const auto& codec : all_codecs()) {
      for (const std::int64_t frames : {4800, 4801, 9999, 48000}) {
        CAPTURE(frames);
        CHECK(std::abs(read(48000, {faded(sine(48000, 1000, 0.5, frames), 480)}, codec.name) - to_db(0.5)) < 1);
      }
    }
    auto broken = sine(48000, 440, 0.5, 48000);
    broken[20000] = std::nan(""), broken[20001] = INFINITY;
    CHECK(std::isfinite(read(48000, {broken}, "vorbis 160")));
    CHECK(std::isfinite(read(48000, {constant(0.9, 48000)}, "vorbis 160")));
    CHECK(std::isfinite(read(48000, {square(48000, 100, 1, 48000)}, "mp3 320")));
  }

  TEST_CASE("without ffmpeg AAC is not measured, and the remedy is said") {
    const OwnPath none;
    const auto r = measured(real_source(48000, {noise(1, 0.5, 48000)}), asking({"aac 256"}));
    CHECK(has(r.reason(key("aac 256")), "install it, or name another codec"));
  }

  TEST_CASE("a program that is called ffmpeg and is none, or breaks, gives a plain reason") {
    const auto reason = [](const std::string& script) {
      const OwnPath own(script);
      const auto r = measured(real_source(48000, {noise(1, 0.5, 48000)}), asking({"aac 256"}));
      return r.reason(key("aac 256"));
    };
    CHECK(has(reason("echo hello"), "does not answer as ffmpeg does"));
    CHECK(has(reason("exit 1"), "exit code 1"));
    const std::string answers = "case \"$*\" in *-version*) echo ffmpeg version 0; exit 0;; esac\n";
    CHECK(has(reason(answers + "echo broken >&2; exit 1"), "exit code 1): broken"));
    CHECK(has(reason(answers + "head -c 5000 /dev/urandom"), "frames of 48000"));
    CHECK(has(reason(answers + "yes"), "more than it may"));
    CHECK(has(reason(answers + "cat >/dev/null"), "frames of 48000"));
  }

  TEST_CASE("an ffmpeg that hangs is ended") {
    const OwnPath own("sleep 60");
    const base::HelperLimits limits{.quiet_s = 0.3};
    const auto version = audio::ffmpeg_version(own.program(), nullptr, limits);
    REQUIRE_FALSE(version.has_value());
    CHECK(has(version.error().text, "no sign of life"));
    const auto way = audio::aac_trip(own.program(), "x", {48000, 1}, 128, 48000, nullptr, limits);
    const std::vector<float> sound(48000, 0.1f);
    REQUIRE(way->write(sound.data(), 48000).has_value());
    const auto done = way->finish([](const float*, std::int64_t) {});
    REQUIRE_FALSE(done.has_value());
    CHECK(has(done.error().text, "no sign of life"));
  }
}
