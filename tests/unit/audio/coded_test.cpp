// FLAC, Ogg Vorbis, Opus, MP3 and the small codecs: decoded as libsndfile does by itself, counted as their encoders
// meant, and damaged in every way that row C18 names.
#include <doctest/doctest.h>
#include <sndfile.h>

#include <cmath>
#include <cstring>
#include <random>

#include "audio/file.h"
#include "makers.h"

using namespace sendworthy;
using makers::Folder;
using makers::Maker;
using makers::mentions;

namespace {

struct Encoded {
  Folder folder;
  std::string source;

  // 2.5 s of music-like noise and tone, 16 bit: what every encoder takes.
  explicit Encoded(int channels = 2, int rate = 48'000) {
    makers::Wave wave;
    wave.channels = channels;
    wave.rate = rate;
    source = folder.write("source.wav", makers::wav(wave, makers::tone(rate * 5 / 2, channels, 2)));
  }
  std::string make(const std::string& name, const std::string& command) const {
    const auto path = folder.file(name);
    REQUIRE_MESSAGE(makers::run(command + " " + path), command);
    return path;
  }
  std::string ffmpeg(const std::string& name, const std::string& options) const {
    return make(name, "ffmpeg -y -i " + source + " " + options);
  }
};

audio::OpenedFile opened(const std::string& path) {
  auto result = audio::open_file(path);
  REQUIRE_MESSAGE(result.has_value(), result.error().text);
  return std::move(*result);
}

struct Pass {
  audio::FileFacts facts;
  makers::Decoded decoded;
  std::vector<audio::Damage> damage;
  audio::StreamFormat format;
};

Pass pass(const std::string& bytes, const std::string& name) {
  auto result = audio::open_bytes(bytes, name);
  REQUIRE_MESSAGE(result.has_value(), result.error().text);
  Pass p;
  p.facts = result->facts;
  p.decoded = makers::decode(*result->source, 1024);
  p.damage = result->source->damage();
  p.format = result->source->format();
  return p;
}

std::vector<double> by_libsndfile(const std::string& path) {
  SF_INFO info{};
  auto* file = sf_open(path.c_str(), SFM_READ, &info);
  REQUIRE_MESSAGE(file != nullptr, sf_strerror(nullptr));
  std::vector<double> all, block(static_cast<std::size_t>(512 * info.channels));
  for (;;) {
    const auto got = sf_readf_double(file, block.data(), 512);
    if (got <= 0) break;
    all.insert(all.end(), block.begin(), block.begin() + got * info.channels);
  }
  sf_close(file);
  return all;
}

#define CHECK_SOUND(p)                                                                       \
  CHECK_MESSAGE((p).facts.contradictions.empty(), makers::joined((p).facts.contradictions)); \
  CHECK_MESSAGE((p).damage.empty(), makers::joined((p).damage))

}  // namespace

TEST_SUITE("audio/coded") {
  TEST_CASE("FLAC is decoded to the source's samples by whoever encoded it") {
    if (!makers::have("ffmpeg") || !makers::have("flac")) return;
    const Encoded e;
    auto source = opened(e.source);
    const auto wanted = makers::decode(*source.source).codes;
    for (const auto& path : {e.make("a.flac", "flac -s -f " + e.source + " -o"), e.ffmpeg("b.flac", ""),
                             e.make("c.flac", "sox " + e.source)}) {
      const auto p = pass(makers::contents(path), path);
      CHECK_SOUND(p);
      CHECK(p.decoded.codes == wanted);
      CHECK(p.facts.container == "FLAC");
      CHECK(p.facts.encoding == "FLAC 16-bit");
      CHECK(p.facts.bit_depth == 16);
      CHECK(p.facts.declared_frames == 120'000);
      CHECK(p.facts.walked_frames == 120'000);
      CHECK(p.format.kind == audio::SampleKind::integer);
    }
    const auto p24 = pass(makers::contents(e.ffmpeg("d.flac", "-sample_fmt s32 -af volume=0.9")), "d.flac");
    CHECK_SOUND(p24);
    CHECK(p24.facts.bit_depth == 24);
  }

  TEST_CASE("C18: FLAC whose MD5 is wrong, zero, or whose length lies") {
    if (!makers::have("flac")) return;
    const Encoded e;
    const auto good = makers::contents(e.make("a.flac", "flac -s -f " + e.source + " -o"));
    constexpr std::size_t kInfo = 8;  // STREAMINFO begins behind "fLaC" and one block header
    auto wrong = good;
    wrong[kInfo + 18] = static_cast<char>(wrong[kInfo + 18] ^ 1);
    auto p = pass(wrong, "a.flac");
    CHECK(mentions(p.damage, "the MD5 of the decoded samples is not the one in STREAMINFO"));
    CHECK(p.damage.back().slip);
    CHECK(p.decoded.frames == 120'000);

    auto zero = good;
    zero.replace(kInfo + 18, 16, std::string(16, '\0'));
    CHECK(mentions(pass(zero, "a.flac").damage, "the MD5 of the samples is zero"));

    // A header that promises half: the other half is decoded and measured all the same.
    auto half = good;
    half.replace(kInfo + 14, 4, Maker().be(60'000, 4).bytes);
    p = pass(half, "a.flac");
    CHECK(mentions(p.facts.contradictions, "STREAMINFO says 60 000 frames, the last whole FLAC frame ends at 120 000"));
    CHECK(p.facts.declared_frames == 60'000);
    CHECK(p.facts.walked_frames == 120'000);
    CHECK(p.decoded.frames == 120'000);
    CHECK(mentions(p.damage, "the header says 60 000 frames, 120 000 could be decoded"));

    auto streamed = good;
    streamed[kInfo + 13] = static_cast<char>(streamed[kInfo + 13] & 0xf0);
    streamed.replace(kInfo + 14, 4, std::string(4, '\0'));
    p = pass(streamed, "a.flac");
    CHECK(mentions(p.facts.contradictions, "does not say how many samples"));
    CHECK(p.decoded.frames == 120'000);
  }

  TEST_CASE("C18: FLAC cut short or damaged inside is never whole") {
    if (!makers::have("flac")) return;
    const Encoded e;
    const auto good = makers::contents(e.make("a.flac", "flac -s -f " + e.source + " -o"));
    for (const double part : {0.3, 0.5, 0.9, 0.999}) {
      const auto p = pass(good.substr(0, static_cast<std::size_t>(part * static_cast<double>(good.size()))), "a.flac");
      CHECK(mentions(p.facts.contradictions, "STREAMINFO says 120 000 frames"));
      CHECK(*p.facts.walked_frames < 120'000);
      CHECK(p.decoded.frames < 120'000);
      CHECK(mentions(p.damage, "could be decoded"));
    }
    auto hurt = good;
    for (std::size_t i = 0; i < 50; ++i) hurt[good.size() / 2 + i] = '\x55';
    CHECK_FALSE(pass(hurt, "a.flac").damage.empty());
  }

  TEST_CASE("two FLAC files joined into one are said to be two") {
    if (!makers::have("flac")) return;
    const Encoded e;
    const auto good = makers::contents(e.make("a.flac", "flac -s -f " + e.source + " -o"));
    CHECK(pass(good, "a.flac").facts.contradictions.empty());
    // Of the same length, so that the last frame's number alone gives nothing away.
    CHECK(mentions(pass(good + good, "a.flac").facts.contradictions, "a second FLAC stream begins here"));
  }

  TEST_CASE("Ogg Vorbis, Opus and MP3 have the length their encoders were given, and no damage") {
    if (!makers::have("ffmpeg") || !makers::have("oggenc") || !makers::have("opusenc") || !makers::have("lame")) return;
    const Encoded e;
    struct Kind {
      std::string path, container, encoding, mode;
      bool same_as_libsndfile;
    };
    const Kind kinds[] = {
        {e.make("a.ogg", "oggenc -Q " + e.source + " -o"), "Ogg Vorbis", "Vorbis", "variable", true},
        {e.ffmpeg("b.ogg", "-c:a libvorbis"), "Ogg Vorbis", "Vorbis", "variable", true},
        {e.make("c.oga", "sox " + e.source + " -t ogg"), "Ogg Vorbis", "Vorbis", "variable", true},
        {e.make("a.opus", "opusenc --quiet " + e.source), "Opus", "Opus", "variable", true},
        {e.make("h.opus", "opusenc --quiet --hard-cbr " + e.source), "Opus", "Opus", "constant", true},
        {e.ffmpeg("b.opus", ""), "Opus", "Opus", "variable", true},
        {e.make("a.mp3", "lame -S -b 192 " + e.source), "MP3", "MPEG-1 layer III", "constant", true},
        {e.make("v.mp3", "lame -S -V 2 " + e.source), "MP3", "MPEG-1 layer III", "variable", true},
        {e.ffmpeg("b.mp3", "-b:a 128k"), "MP3", "MPEG-1 layer III", "constant", false},
    };
    for (const auto& kind : kinds) {
      CAPTURE(kind.path);
      const auto p = pass(makers::contents(kind.path), kind.path);
      CHECK_SOUND(p);
      CHECK(p.facts.container == kind.container);
      CHECK(p.facts.encoding == kind.encoding);
      CHECK(p.facts.bit_rate_mode == kind.mode);
      CHECK(p.facts.extension_matches);
      CHECK(p.facts.declared_frames == 120'000);
      CHECK(p.facts.walked_frames == 120'000);
      CHECK(p.decoded.frames == 120'000);
      CHECK(p.format.kind == audio::SampleKind::real);
      CHECK(p.format.lossy);
      CHECK(p.format.container_bits == 0);
      CHECK_FALSE(p.facts.bit_depth.has_value());
      if (kind.same_as_libsndfile) CHECK(p.decoded.reals == by_libsndfile(kind.path));
    }
    CHECK(*pass(makers::contents(kinds[6].path), "a.mp3").facts.bit_rate_kbit_s == 192);
    CHECK(*pass(makers::contents(kinds[8].path), "b.mp3").facts.bit_rate_kbit_s == 128);
    // At 44.1 kHz frames of 192 kbit/s have 626.94 bytes, which padding makes up for only on the whole.
    CHECK(*pass(makers::contents(e.ffmpeg("c.mp3", "-ar 44100 -b:a 192k")), "c.mp3").facts.bit_rate_kbit_s == 192);
    CHECK(*pass(makers::contents(e.ffmpeg("d.mp3", "-ar 44100 -b:a 192k -write_xing 0")), "d.mp3").facts.bit_rate_kbit_s == 192);
  }

  TEST_CASE("M10: the rate of a variable MP3 is its bytes over its time") {
    if (!makers::have("lame")) return;
    const Encoded e;
    const auto path = e.make("v.mp3", "lame -S -V 4 " + e.source);
    const auto p = pass(makers::contents(path), path);
    const double whole_file = 8e-3 * static_cast<double>(p.facts.file_size) / 2.5;
    CHECK(*p.facts.bit_rate_kbit_s == doctest::Approx(whole_file).epsilon(0.05));
  }

  TEST_CASE("Opus is decoded at 48 kHz whatever its source's rate was") {
    if (!makers::have("opusenc")) return;
    const Encoded e(2, 16'000);
    const auto path = e.make("a.opus", "opusenc --quiet " + e.source);
    const auto p = pass(makers::contents(path), path);
    CHECK_SOUND(p);
    CHECK(p.format.sample_rate == 48'000);
    CHECK(p.decoded.frames == 120'000);
  }

  TEST_CASE("C18: Ogg without its last page is said to be open-ended") {
    if (!makers::have("oggenc") || !makers::have("opusenc")) return;
    const Encoded e;
    for (const auto& path :
         {e.make("a.ogg", "oggenc -Q " + e.source + " -o"), e.make("a.opus", "opusenc --quiet " + e.source)}) {
      const auto good = makers::contents(path);
      const auto last = good.rfind("OggS");
      const auto p = pass(good.substr(0, last), path);
      CHECK(mentions(p.damage, "no page marked as the last"));
      CHECK_FALSE(p.facts.declared_frames.has_value());
      CHECK(p.decoded.frames > 0);
      CHECK(p.decoded.frames < 120'000);
      CHECK(mentions(pass(good.substr(0, last + 60), path).damage, "the last Ogg page is cut off"));
      // One wrong byte inside a page: its checksum says so, and the decoder drops the page.
      auto hurt = good;
      hurt[last - 100] = static_cast<char>(hurt[last - 100] ^ 1);
      CHECK(mentions(pass(hurt, path).damage, "the checksum of an Ogg page is wrong"));
      // A page taken out.
      const auto third = good.find("OggS", good.find("OggS", good.find("OggS", 4) + 4) + 4);
      const auto fourth = good.find("OggS", third + 4);
      REQUIRE(fourth != std::string::npos);
      CHECK(mentions(pass(good.substr(0, third) + good.substr(fourth), path).damage, "follows page"));
      CHECK(mentions(pass(good.substr(0, third) + "junk" + good.substr(third), path).damage,
                     "4 bytes that are no Ogg page"));
      // Two files in a row.
      const auto two = pass(good + good, path);
      CHECK(mentions(two.facts.contradictions, "a second stream is chained on here"));
      CHECK(two.facts.trailing_bytes == std::ssize(good));
      CHECK(two.decoded.frames == 120'000);
    }
  }

  TEST_CASE("C18: MP3 without an info frame, cut, with junk inside, or with a count that lies") {
    if (!makers::have("lame")) return;
    const Encoded e;
    const auto bare = makers::contents(e.make("t.mp3", "lame -S -t -b 128 " + e.source));
    auto p = pass(bare, "t.mp3");
    CHECK(mentions(p.damage, "there is no info frame"));
    CHECK_FALSE(p.facts.declared_frames.has_value());
    CHECK(p.decoded.frames == *p.facts.walked_frames);

    const auto good = makers::contents(e.make("a.mp3", "lame -S -b 128 " + e.source));
    p = pass(good.substr(0, good.size() / 2), "a.mp3");
    CHECK(mentions(p.facts.contradictions, "the info frame says"));
    CHECK(mentions(p.damage, "the last MPEG frame is cut off"));
    CHECK(p.decoded.frames < 70'000);

    auto lying = good;
    const auto info = lying.find("Info");
    REQUIRE(info != std::string::npos);
    lying.replace(info + 8, 4, Maker().be(1000, 4).bytes);
    CHECK(mentions(pass(lying, "a.mp3").facts.contradictions, "the info frame says 1 000 MPEG frames"));

    const std::size_t frame = 384;  // 128 kbit/s at 48 kHz
    const auto junk = good.substr(0, 20 * frame) + std::string(1000, 'j') + good.substr(20 * frame);
    CHECK(mentions(pass(junk, "a.mp3").damage, "1 000 bytes between MPEG frames"));
  }

  TEST_CASE("C01: plain samples are not taken for MPEG audio, and short or damaged MPEG audio is") {
    // FF FF is the upper half of a small negative number, and looks like the beginning of a layer I frame.
    std::mt19937 random(3);
    for (const int spread : {40, 200, 2000}) {
      std::string raw;
      double state = 0;
      for (int i = 0; i < 120'000; ++i) {
        state = 0.95 * state + (static_cast<double>(random() % 2001) - 1000) / 1000 * spread;
        raw += Maker().le(static_cast<std::uint32_t>(static_cast<std::int32_t>(state)) & 0xffffff, 3).bytes;
      }
      CHECK_FALSE(audio::open_bytes(raw, "raw.pcm").has_value());
      const auto sun = std::string(".snd") + Maker().be(24, 4).be(raw.size(), 4).be(4, 4).be(48'000, 4).be(2, 4).bytes + raw;
      const auto refused = audio::open_bytes(sun, "x.au");
      REQUIRE_FALSE(refused.has_value());
      CHECK(refused.error().text.find("Sun/NeXT AU") != std::string::npos);
    }
    // Another header in front is believed before what stands behind it.
    if (!makers::have("lame")) return;
    const Encoded e;
    const auto good = makers::contents(e.make("a.mp3", "lame -S -t -b 128 " + e.source));
    CHECK_FALSE(audio::open_bytes(".snd" + good, "x.au").has_value());
    constexpr std::size_t kFrame = 384;  // 128 kbit/s at 48 kHz
    for (const std::size_t frames : {std::size_t{3}, std::size_t{5}, std::size_t{40}}) {
      CHECK(audio::open_bytes(makers::kept(good.substr(0, frames * kFrame)), "a.mp3").has_value());
      CHECK(audio::open_bytes(makers::kept(good.substr(0, frames * kFrame) + "TAG" + std::string(125, ' ')), "a.mp3").has_value());
      CHECK(audio::open_bytes(makers::kept(good.substr(0, frames * kFrame - 100)), "a.mp3").has_value());
    }
    // A damaged place near the start: what is whole before it still belongs to the stream.
    const auto hurt = good.substr(0, 5 * kFrame) + std::string(300, 'j') + good.substr(5 * kFrame);
    const auto p = pass(hurt, "a.mp3");
    CHECK(mentions(p.damage, "300 bytes between MPEG frames"));
    CHECK_FALSE(mentions(p.damage, "before the first MPEG frame"));
  }

  TEST_CASE("tags around MPEG audio are walked over") {
    if (!makers::have("lame")) return;
    const Encoded e;
    const auto path = e.make("a.mp3", "lame -S -b 128 --add-id3v2 --tt Paper --ta Example --tn 3 " + e.source);
    const auto p = pass(makers::contents(path), path);
    CHECK_SOUND(p);
    CHECK(p.decoded.frames == 120'000);
    CHECK(p.facts.chunks == std::vector<std::string>{"ID3v2", "ID3v1", "Info"});
    CHECK(p.facts.trailing_bytes == 0);
  }

  TEST_CASE("C01: an Ogg named .wav, an MP3 inside a WAV, a layer II named .mp3") {
    if (!makers::have("ffmpeg") || !makers::have("oggenc")) return;
    const Encoded e;
    auto p = pass(makers::contents(e.make("a.ogg", "oggenc -Q " + e.source + " -o")), "mix.wav");
    CHECK_FALSE(p.facts.extension_matches);
    CHECK(p.facts.extension_note == "named .wav, holds Ogg Vorbis");
    p = pass(makers::contents(e.ffmpeg("m.wav", "-c:a libmp3lame")), "mix.wav");
    CHECK_FALSE(p.facts.extension_matches);
    CHECK(p.facts.container == "WAV");
    CHECK(p.facts.encoding == "MPEG-1 layer III");
    CHECK_SOUND(p);
    p = pass(makers::contents(e.ffmpeg("m.mp2", "")), "mix.mp3");
    CHECK(p.facts.extension_note == "named .mp3, holds MPEG-1 layer II");
  }

  TEST_CASE("C16: small codecs in WAV, AIFF-C and CAF are decoded as FFmpeg decodes them") {
    if (!makers::have("ffmpeg")) return;
    const Encoded e;
    const std::pair<std::string, std::string> kinds[] = {
        {"a.wav", "-c:a pcm_alaw"},           {"u.wav", "-c:a pcm_mulaw"}, {"m.wav", "-c:a adpcm_ms"},
        {"i.wav", "-c:a adpcm_ima_wav"},      {"u.w64", "-c:a pcm_mulaw"}, {"a.aifc", "-c:a pcm_alaw -f aiff"},
        {"u.aifc", "-c:a pcm_mulaw -f aiff"}, {"a.caf", "-c:a pcm_alaw"},  {"q.aifc", "-c:a adpcm_ima_qt -f aiff"},
        {"q.caf", "-c:a adpcm_ima_qt"}};
    for (const auto& [name, options] : kinds) {
      const auto& name_here = name;
      CAPTURE(name_here);
      const auto path = e.ffmpeg(name, options);
      const auto p = pass(makers::contents(path), path);
      CHECK_SOUND(p);
      CHECK(p.format.lossy);
      REQUIRE(makers::run("ffmpeg -y -i " + path + " -f s16le -c:a pcm_s16le " + e.folder.file("raw")));
      const auto raw = makers::contents(e.folder.file("raw"));
      const auto frames = std::min<std::size_t>(raw.size() / 4, static_cast<std::size_t>(p.decoded.frames));
      REQUIRE(frames >= 120'000);
      double worst = 0;
      for (std::size_t i = 0; i < frames * 2; ++i) {
        std::int16_t word;
        std::memcpy(&word, raw.data() + 2 * i, 2);
        worst = std::max(worst, std::abs(p.decoded.reals[i] * 32'768 - word));
      }
      // IMA ADPCM: the rounding of steps is left open, and the QuickTime variant stores only the upper nine bits of
      // where a packet starts, which FFmpeg fills up from the packet before. The others are tables.
      CHECK(worst <= (options.find("ima_qt") != std::string::npos ? 128
                      : options.find("ima") != std::string::npos  ? 64
                                                                  : 0.5));
    }
  }

  TEST_CASE("the loudspeakers of Vorbis, Opus, FLAC, CAF and AIFF are where the encoder was told they are") {
    if (!makers::have("ffmpeg")) return;
    // Channel c of the WAV carries a tone of its own; the mask is 5.1: L R C LFE Ls Rs.
    makers::Wave wave;
    wave.channels = 6;
    wave.extensible = true;
    wave.mask = 0x3f;
    Maker samples;
    for (int i = 0; i < 48'000; ++i) {
      for (int c = 0; c < 6; ++c)
        samples.le(static_cast<std::uint64_t>(
                       std::llround(6000 * std::sin(2 * M_PI * (c == 3 ? 50 : 400 + 300 * c) * i / 48'000.0))),
                   2);
    }
    const Folder folder;
    const auto source = folder.write("source.wav", makers::wav(wave, samples.bytes));
    using enum audio::Speaker;
    const std::vector<audio::Speaker> order = {left, right, centre, lfe, left_surround, right_surround};
    for (const std::string name : {"a.ogg", "a.opus", "a.flac", "a.caf", "a.aiff"}) {
      CAPTURE(name);
      REQUIRE(makers::run("ffmpeg -y -i " + source +
                          (name == "a.opus"  ? " -mapping_family 1 -b:a 512k "
                           : name == "a.ogg" ? " -c:a libvorbis -q:a 9 "
                                             : " ") +
                          folder.file(name)));
      const auto p = pass(makers::contents(folder.file(name)), name);
      CHECK(p.format.layout == "5.1");
      CHECK(p.format.layout_known);
      REQUIRE(p.format.speakers.size() == 6);
      for (int c = 0; c < 6; ++c) {
        // Energy at the tone of each source channel; the strongest tells which one this is.
        int strongest = -1;
        double most = 0;
        for (int s = 0; s < 6; ++s) {
          const double w = 2 * M_PI * (s == 3 ? 50 : 400 + 300 * s) / 48'000.0;
          double re = 0, im = 0;
          for (int i = 4800; i < 43'200; ++i) {
            const auto at = static_cast<std::size_t>(i * 6 + c);
            const double x = p.decoded.reals.empty() ? p.decoded.codes[at] / 2147483648.0 : p.decoded.reals[at];
            re += x * std::cos(w * i);
            im += x * std::sin(w * i);
          }
          if (re * re + im * im > most) {
            most = re * re + im * im;
            strongest = s;
          }
        }
        REQUIRE(strongest >= 0);
        CHECK(p.format.speakers[static_cast<std::size_t>(c)] == order[static_cast<std::size_t>(strongest)]);
      }
    }
  }

  TEST_CASE("any cut through the head of a coded file is survived, and what is missing is said") {
    if (!makers::have("ffmpeg")) return;
    Folder folder;
    makers::Wave wave;
    const auto source = folder.write("s.wav", makers::wav(wave, makers::tone(9600, 2, 2)));
    for (const std::string name : {"a.flac", "a.ogg", "a.opus", "a.mp3"}) {
      REQUIRE(makers::run("ffmpeg -y -i " + source + (name == "a.ogg" ? " -c:a libvorbis " : " ") + folder.file(name)));
      const auto good = makers::contents(folder.file(name));
      for (std::size_t cut = 0; cut < good.size(); cut += cut < 600 ? 1 : 97) {
        const auto part = good.substr(0, cut);
        auto result = audio::open_bytes(part, name);
        if (!result) continue;
        makers::Decoded decoded = makers::decode(*result->source);
        CHECK(decoded.frames < 9600);
        CHECK_MESSAGE(!(result->facts.contradictions.empty() && result->source->damage().empty()),
                      name << " cut at " << cut);
      }
    }
  }
}
