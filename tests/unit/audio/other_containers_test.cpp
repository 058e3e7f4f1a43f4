// Faults of W64, AIFF, AIFF-C and CAF, each with a sound twin.
#include <doctest/doctest.h>

#include <bit>
#include <cmath>

#include "audio/file.h"
#include "makers.h"

using namespace sendworthy;
using makers::chunk;
using makers::Maker;
using makers::mentions;

namespace {

audio::OpenedFile opened(const std::string& bytes, const std::string& name) {
  auto result = audio::open_bytes(makers::kept(bytes), name);
  REQUIRE_MESSAGE(result.has_value(), result.error().text);
  return std::move(*result);
}

#define CHECK_CLEAN(facts) CHECK_MESSAGE((facts).contradictions.empty(), makers::joined((facts).contradictions))
#define CHECK_FOUND(facts, words) \
  CHECK_MESSAGE(mentions((facts).contradictions, words), makers::joined((facts).contradictions))

// --- W64 ---

constexpr std::string_view kRiffEnd("\x2e\x91\xcf\x11\xa5\xd6\x28\xdb\x04\xc1\x00\x00", 12);
constexpr std::string_view kWaveEnd("\xf3\xac\xd3\x11\x8c\xd1\x00\xc0\x4f\x8e\xdb\x8a", 12);

std::string w64_chunk(std::string_view id, std::string_view body, std::optional<std::uint64_t> size = {}) {
  Maker m;
  m.text(id).text(kWaveEnd).le(size.value_or(24 + body.size()), 8).text(body).fill((8 - body.size() % 8) % 8);
  return m.bytes;
}

std::string w64(const std::string& chunks, std::optional<std::uint64_t> size = {}) {
  return Maker()
      .text("riff")
      .text(kRiffEnd)
      .le(size.value_or(40 + chunks.size()), 8)
      .text("wave")
      .text(kWaveEnd)
      .text(chunks)
      .bytes;
}

// --- AIFF ---

std::string extended(int exponent, std::uint64_t mantissa) {
  return Maker().be(static_cast<std::uint64_t>(16'383 + exponent), 2).be(mantissa, 8).bytes;
}
const std::string k48000 = extended(15, std::uint64_t{48'000} << 48);

struct Aiff {
  int channels = 1;
  std::uint32_t frames = 100;
  int bits = 16;
  std::string rate = k48000;
  std::string type;  // empty: plain AIFF
};

std::string common(const Aiff& a) {
  Maker m;
  m.be(static_cast<std::uint64_t>(a.channels), 2)
      .be(a.frames, 4)
      .be(static_cast<std::uint64_t>(a.bits), 2)
      .text(a.rate);
  if (!a.type.empty()) m.text(a.type).be(0, 2);
  return chunk("COMM", m.bytes, true);
}

std::string sound(std::string_view samples) { return chunk("SSND", Maker().be(0, 8).text(samples).bytes, true); }

std::string form(const std::string& chunks, std::string_view type = "AIFF", std::optional<std::uint32_t> size = {}) {
  return Maker()
      .text("FORM")
      .be(size.value_or(static_cast<std::uint32_t>(chunks.size() + 4)), 4)
      .text(type)
      .text(chunks)
      .bytes;
}

std::string ramp(int frames, bool big_endian) {
  Maker m;
  for (int i = 0; i < frames; ++i)
    big_endian ? m.be(static_cast<std::uint64_t>(i * 100), 2) : m.le(static_cast<std::uint64_t>(i * 100), 2);
  return m.bytes;
}

// --- CAF ---

std::string caf_chunk(std::string_view id, std::string_view body, std::optional<std::uint64_t> size = {}) {
  return Maker().text(id).be(size.value_or(body.size()), 8).text(body).bytes;
}

std::string description(std::uint32_t channels = 1, double rate = 48'000, std::string_view type = "lpcm",
                        std::uint32_t flags = 0, std::uint32_t bits = 16) {
  return caf_chunk("desc", Maker()
                               .be(std::bit_cast<std::uint64_t>(rate), 8)
                               .text(type)
                               .be(flags, 4)
                               .be(channels * bits / 8, 4)
                               .be(1, 4)
                               .be(channels, 4)
                               .be(bits, 4)
                               .bytes);
}

std::string caf(const std::string& chunks) { return Maker().text("caff").be(1, 2).be(0, 2).text(chunks).bytes; }
std::string caf_data(std::string_view samples, std::optional<std::uint64_t> size = {}) {
  return caf_chunk("data", Maker().be(0, 4).text(samples).bytes, size);
}

}  // namespace

TEST_SUITE("audio/other containers") {
  TEST_CASE("W64: sound, cut short, hiding, never filled in") {
    const auto format = w64_chunk("fmt ", makers::format_body({}));
    const auto samples = makers::tone(4800, 2, 2);
    auto good = opened(w64(format + w64_chunk("data", samples)), "x.w64");
    CHECK_CLEAN(good.facts);
    CHECK(good.facts.container == "W64");
    CHECK(good.facts.chunks == std::vector<std::string>{"fmt ", "data"});
    CHECK(good.facts.declared_frames == 4800);
    CHECK(makers::decode(*good.source).frames == 4800);

    auto shorter = opened(w64(format + w64_chunk("data", samples, 24 + 40'000)), "x.w64");
    CHECK_FOUND(shorter.facts, "the data chunk says 10 000 frames");
    CHECK(makers::decode(*shorter.source).frames == 4800);

    auto hiding = opened(w64(format + w64_chunk("data", samples, 24 + 9600)), "x.w64");
    CHECK_FOUND(hiding.facts, "look like audio");
    CHECK(hiding.facts.walked_frames == 4800);
    CHECK(makers::decode(*hiding.source).frames == 2400);

    auto streamed = opened(w64(format + w64_chunk("data", samples, 0)), "x.w64");
    CHECK_FOUND(streamed.facts, "never filled in");
    CHECK(makers::decode(*streamed.source).frames == 4800);

    CHECK_FOUND(opened(w64(format + w64_chunk("data", samples), 12'345), "x.w64").facts,
                "the header says the file has 12 345 bytes");
  }

  TEST_CASE("AIFF: sound, and COMM and SSND that disagree") {
    auto good = opened(form(common({}) + sound(ramp(100, true))), "x.aiff");
    CHECK_CLEAN(good.facts);
    CHECK(good.facts.container == "AIFF");
    CHECK(good.source->format().sample_rate == 48'000);
    CHECK(good.facts.declared_frames == 100);
    const auto codes = makers::decode(*good.source).codes;
    REQUIRE(codes.size() == 100);
    CHECK(codes[99] == 9900 << 16);

    Aiff half;
    half.frames = 50;
    auto lying = opened(form(common(half) + sound(ramp(100, true))), "x.aiff");
    CHECK_FOUND(lying.facts, "COMM says 50 frames, SSND holds 100");
    CHECK(lying.facts.declared_frames == 50);
    CHECK(lying.facts.walked_frames == 100);

    auto cut = form(common({}) + sound(ramp(100, true)));
    cut.resize(cut.size() - 20);
    auto shorter = opened(cut, "x.aiff");
    CHECK_FOUND(shorter.facts, "the SSND chunk says 100 frames, 90 are there");
    CHECK_FOUND(shorter.facts, "the FORM size says");
    CHECK(makers::decode(*shorter.source).frames == 90);
    CHECK_FOUND(opened(form(common({}) + common({}) + sound(ramp(100, true))), "x.aiff").facts, "a second COMM");
    CHECK_FOUND(opened(form(common({}) + sound(ramp(100, true)), "AIFF", 0), "x.aiff").facts, "never filled in");
  }

  TEST_CASE("AIFF: the order of chunks is free, offsets in SSND are honoured, texts become tags") {
    const auto late = opened(form(sound(ramp(100, true)) + chunk("NAME", "Glass Harbour", true) + common({})), "x.aif");
    CHECK_CLEAN(late.facts);
    REQUIRE(late.facts.tags.size() == 1);
    CHECK(late.facts.tags[0].name == "title");
    CHECK(late.facts.tags[0].value == "Glass Harbour");
    const auto body = Maker().be(6, 4).be(0, 4).text("skip!!").text(ramp(100, true)).bytes;
    auto shifted = opened(form(common({}) + chunk("SSND", body, true)), "x.aiff");
    CHECK_CLEAN(shifted.facts);
    CHECK(makers::decode(*shifted.source).codes.at(1) == 100 << 16);
  }

  TEST_CASE("C22: AIFF-C variants are told apart by their compression") {
    Aiff a;
    a.type = "sowt";
    auto sowt = opened(form(common(a) + sound(ramp(100, false)), "AIFC"), "x.aifc");
    CHECK_CLEAN(sowt.facts);
    CHECK(sowt.facts.container == "AIFF-C");
    CHECK(makers::decode(*sowt.source).codes.at(99) == 9900 << 16);
    a.type = "fl32";
    a.bits = 32;
    const auto value = Maker().be(std::bit_cast<std::uint32_t>(1.5f), 4).bytes;
    a.frames = 1;
    auto real = opened(form(common(a) + sound(value), "AIFC"), "x.aifc");
    CHECK_CLEAN(real.facts);
    CHECK(real.facts.encoding == "float 32-bit");
    CHECK(makers::decode(*real.source).reals.at(0) == 1.5);
    a.type = "QDM2";
    const auto refused = audio::open_bytes(form(common(a) + sound(value), "AIFC"), "x.aifc");
    REQUIRE_FALSE(refused.has_value());
    CHECK(refused.error().text.find("QDM2") != std::string::npos);
  }

  TEST_CASE("AIFF: rates that are none, and channels beyond reach, are refused") {
    for (const auto& rate : {extended(15, 0), extended(16'384, std::uint64_t{1} << 63),
                             extended(40, std::uint64_t{1} << 63), std::string(10, '\xff')}) {
      Aiff a;
      a.rate = rate;
      const auto refused = audio::open_bytes(form(common(a) + sound(ramp(100, true))), "x.aiff");
      REQUIRE_FALSE(refused.has_value());
      CHECK(refused.error().text.find("sample rate") != std::string::npos);
    }
    Aiff a;
    a.channels = 30'000;
    CHECK_FALSE(audio::open_bytes(form(common(a) + sound("")), "x.aiff").has_value());
    CHECK_FALSE(audio::open_bytes(form(sound(ramp(100, true))), "x.aiff").has_value());
    CHECK_FALSE(audio::open_bytes(form(common({})), "x.aiff").has_value());
  }

  TEST_CASE("CAF: sound, open-ended, cut short, described twice") {
    auto good = opened(caf(description() + caf_data(ramp(100, true))), "x.caf");
    CHECK_CLEAN(good.facts);
    CHECK(good.facts.chunks == std::vector<std::string>{"desc", "data"});
    CHECK(good.facts.declared_frames == 100);
    CHECK(makers::decode(*good.source).codes.at(99) == 9900 << 16);

    // -1 is a size the specification allows for the last chunk.
    auto open_end = opened(caf(description() + caf_data(ramp(100, true), ~std::uint64_t{0})), "x.caf");
    CHECK_CLEAN(open_end.facts);
    CHECK_FALSE(open_end.facts.declared_frames.has_value());
    CHECK(makers::decode(*open_end.source).frames == 100);

    auto cut = opened(caf(description() + caf_data(ramp(100, true), 4 + 400)), "x.caf");
    CHECK_FOUND(cut.facts, "the data chunk says 200 frames, 100 are there");
    CHECK_FOUND(opened(caf(description() + description() + caf_data(ramp(100, true))), "x.caf").facts, "a second desc");
    CHECK_FOUND(opened(caf(caf_chunk("free", "abcd") + description() + caf_data(ramp(100, true))), "x.caf").facts,
                "the first chunk must be desc");
    const auto half = makers::tone(9600, 1, 2);
    auto hiding = opened(caf(description(1, 48'000, "lpcm", 2) + caf_data(half, 4 + 9600)), "x.caf");
    CHECK_FOUND(hiding.facts, "look like audio");
  }

  TEST_CASE("CAF: a million channels, absurd rates and codecs without a decoder are refused by name") {
    const auto text_of = [](const std::string& bytes) {
      const auto refused = audio::open_bytes(bytes, "x.caf");
      REQUIRE_FALSE(refused.has_value());
      CHECK(refused.error().code == ErrorCode::unrecognised);
      return refused.error().text;
    };
    const auto data = caf_data(ramp(100, true));
    CHECK(text_of(caf(description(1'000'000) + data)).find("1 000 000 channels, at most 256") != std::string::npos);
    CHECK(text_of(caf(description(1, 1e9) + data)).find("1000000000 Hz") != std::string::npos);
    CHECK(text_of(caf(description(1, NAN) + data)).find("no number") != std::string::npos);
    CHECK(text_of(caf(description(1, -48'000) + data)).find("-48000 Hz") != std::string::npos);
    CHECK(text_of(caf(description(1, 48'000, "alac") + data)).find("\"alac\"") != std::string::npos);
  }

  TEST_CASE("CAF: information strings become tags") {
    const auto info = caf_chunk(
        "info", Maker().be(2, 4).text(std::string_view("title\0Tin Lantern\0artist\0The Example\0", 37)).bytes);
    const auto file = opened(caf(description() + info + caf_data(ramp(10, true))), "x.caf");
    REQUIRE(file.facts.tags.size() == 2);
    CHECK(file.facts.tags[0].value == "Tin Lantern");
    CHECK(file.facts.tags[1].name == "artist");
  }

  TEST_CASE("any cut through these containers is survived and noticed") {
    Aiff a;
    const std::pair<std::string, const char*> files[] = {
        {w64(w64_chunk("fmt ", makers::format_body({})) + w64_chunk("data", makers::tone(20, 2, 2))), "x.w64"},
        {form(chunk("NAME", "name", true) + common(a) + sound(ramp(100, true))), "x.aiff"},
        {caf(description() + caf_chunk("info", Maker().be(1, 4).text(std::string_view("a\0b\0", 4)).bytes) +
             caf_data(ramp(100, true))),
         "x.caf"},
    };
    for (const auto& [bytes, name] : files) {
      for (std::size_t cut = 0; cut < bytes.size(); ++cut) {
        const auto part = bytes.substr(0, cut);
        auto result = audio::open_bytes(part, name);
        if (!result) continue;
        CHECK(makers::decode(*result->source).frames <= 100);
        CHECK_FALSE(result->facts.contradictions.empty());
      }
    }
  }
}
