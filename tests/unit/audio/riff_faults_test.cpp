// One maker and one expectation per fault of the RIFF family (rows C01 to C23 of the fault map), and its clean twin.
#include <doctest/doctest.h>

#include <random>

#include "audio/file.h"
#include "makers.h"

using namespace sendworthy;
using makers::chunk;
using makers::format_body;
using makers::Maker;
using makers::mentions;
using makers::Wave;

namespace {

audio::OpenedFile opened(const std::string& bytes, const std::string& name = "mix.wav") {
  auto result = audio::open_bytes(makers::kept(bytes), name);
  REQUIRE_MESSAGE(result.has_value(), result.error().text);
  return std::move(*result);
}

audio::FileFacts facts_of(const std::string& bytes, const std::string& name = "mix.wav") {
  return opened(bytes, name).facts;
}

Error error_of(const std::string& bytes, const std::string& name = "mix.wav") {
  auto result = audio::open_bytes(bytes, name);
  REQUIRE_FALSE(result.has_value());
  CHECK(result.error().text.find(name) != std::string::npos);
  return result.error();
}

std::string fmt_chunk(const Wave& wave = {}) { return chunk("fmt ", format_body(wave)); }

// A data chunk whose size field says something else than its body has.
std::string lying_data(std::string_view samples, std::uint32_t said) {
  return Maker().text("data").le(said, 4).text(samples).bytes;
}

#define CHECK_CLEAN(facts) CHECK_MESSAGE((facts).contradictions.empty(), makers::joined((facts).contradictions))
#define CHECK_FOUND(facts, words) \
  CHECK_MESSAGE(mentions((facts).contradictions, words), makers::joined((facts).contradictions))

}  // namespace

TEST_SUITE("audio/RIFF faults") {
  TEST_CASE("a sound file has no contradictions, and every fact is there") {
    const auto file = opened(makers::wav({}, makers::tone(4800, 2, 2)));
    const auto& f = file.facts;
    CHECK_CLEAN(f);
    CHECK(f.container == "WAV");
    CHECK(f.encoding == "PCM 16-bit");
    CHECK(f.bit_depth == 16);
    CHECK(f.declared_frames == 4800);
    CHECK(f.walked_frames == 4800);
    CHECK(f.file_size == 44 + 4800 * 4);
    CHECK(f.bit_rate_kbit_s == doctest::Approx(1536));
    CHECK(f.bit_rate_mode.empty());
    CHECK(f.chunks == std::vector<std::string>{"fmt ", "data"});
    CHECK(f.trailing_bytes == 0);
    CHECK_FALSE(f.channel_mask.has_value());
    CHECK(file.source->format().layout == "stereo");
    CHECK(file.source->format().container_bits == 16);
  }

  TEST_CASE("the loops of a sampler chunk are read as they stand, as many as are there") {
    const auto sampler = [](std::uint32_t says, const std::vector<std::pair<std::uint32_t, std::uint32_t>>& loops) {
      makers::Maker body;
      body.fill(28).le(says, 4).le(0, 4);
      for (const auto& [first, last] : loops) body.fill(8).le(first, 4).le(last, 4).fill(8);
      return body.bytes;
    };
    const auto loops_in = [](const std::string& body) {
      return facts_of(makers::riff(chunk("fmt ", makers::format_body({})) + chunk("smpl", body) + chunk("data", makers::tone(480, 2, 2)))).loops;
    };
    CHECK(loops_in(sampler(0, {})).empty());
    const auto two = loops_in(sampler(2, {{10, 400}, {4294967295u, 3}}));
    REQUIRE(two.size() == 2);
    CHECK(two[0].start == 10);
    CHECK(two[0].end == 400);
    CHECK(two[1].start == 4294967295);
    CHECK(two[1].end == 3);
    // More promised than there are; fewer; a chunk that ends inside a loop; too many; no head.
    CHECK(loops_in(sampler(4000000000u, {{1, 2}})).size() == 1);
    CHECK(loops_in(sampler(1, {{1, 2}, {3, 4}})).size() == 1);
    CHECK(loops_in(sampler(2, {{1, 2}, {3, 4}}).substr(0, 36 + 24 + 20)).size() == 1);
    CHECK(loops_in(sampler(100, std::vector<std::pair<std::uint32_t, std::uint32_t>>(100, {1, 2}))).size() == 64);
    CHECK(loops_in(std::string(20, '\1')).empty());
  }

  TEST_CASE("C01: the extension lies") {
    const auto samples = makers::tone(100, 2, 2);
    CHECK(facts_of(makers::wav({}, samples), "a.wav").extension_matches);
    CHECK(facts_of(makers::wav({}, samples), "a.WAVE").extension_matches);
    CHECK(facts_of(makers::wav({}, samples), "a.bwf").extension_matches);
    CHECK(facts_of(makers::wide("RF64", {}, samples), "a.wav").extension_matches);
    CHECK(facts_of(makers::wav({}, samples), "no extension").extension_matches);
    CHECK(facts_of(makers::wav({}, samples), "mix v1.2").extension_matches);
    const auto lie = facts_of(makers::wav({}, samples), "folder.wav/a.flac");
    CHECK_FALSE(lie.extension_matches);
    CHECK(lie.extension_note == "named .flac, holds WAV");
  }

  TEST_CASE("C02: the data chunk claims more than the file has") {
    const auto samples = makers::tone(480, 2, 2);
    auto file = opened(makers::riff(fmt_chunk() + lying_data(samples, 4000)));
    CHECK_FOUND(file.facts, "the data chunk says 1 000 frames (4 000 bytes), 480 (1 920 bytes) are there");
    CHECK(file.facts.contradictions[0].byte_offset == 36);
    CHECK(file.facts.declared_frames == 1000);
    CHECK(file.facts.walked_frames == 480);
    CHECK(makers::decode(*file.source).frames == 480);
    CHECK(mentions(file.source->damage(), "the header says 1 000 frames, 480 are there"));
  }

  TEST_CASE("C03: the data chunk hides half of the song") {
    const auto samples = makers::tone(9600, 2, 2);
    // Once with a RIFF size that knows better, once with both sizes lying.
    for (const bool both : {false, true}) {
      const auto body = fmt_chunk() + lying_data(samples, 4800 * 4);
      auto file = opened(makers::riff(body, "RIFF", both ? std::optional<std::uint32_t>(36 + 4800 * 4) : std::nullopt));
      CHECK_FOUND(file.facts,
                  "19 200 bytes after the samples are no legal chunk and look like audio: room for 4 800 frames");
      CHECK(file.facts.contradictions[0].byte_offset == 44 + 4800 * 4);
      CHECK(file.facts.declared_frames == 4800);
      CHECK(file.facts.walked_frames == 9600);
      CHECK(file.facts.trailing_bytes == 4800 * 4);
      // The header's word is what is decoded; the finding says what lies beyond.
      CHECK(makers::decode(*file.source).frames == 4800);
    }
  }

  TEST_CASE("C03: hidden sound is found in every plain format, in silence first, and in noise") {
    for (const int bytes : {2, 3}) {
      Wave wave;
      wave.bits = bytes * 8;
      const auto samples = makers::tone(3000, 2, bytes);
      CHECK_FOUND(
          facts_of(makers::riff(fmt_chunk(wave) + lying_data(samples, static_cast<std::uint32_t>(2 * bytes * 100)))),
          "look like audio");
    }
    std::string silence_first(40'000, '\0');
    silence_first += makers::tone(4800, 2, 2);
    CHECK_FOUND(facts_of(makers::riff(fmt_chunk() + lying_data(silence_first, 20'000))), "no legal chunk");
    std::mt19937 random(1);
    std::string noise(40'000, '\0');
    for (auto& c : noise) c = static_cast<char>(random());
    CHECK_FOUND(facts_of(makers::riff(fmt_chunk() + lying_data(noise, 20'000))), "room for 5 000 frames");
  }

  TEST_CASE("C04: sizes that were never filled in") {
    const auto samples = makers::tone(480, 2, 2);
    struct Case {
      std::uint32_t riff, data;
    };
    for (const auto& c :
         {Case{0, 0}, Case{0xffffffff, 0xffffffff}, Case{36 + 1920, 0}, Case{0x7ffff024, 0x7ffff000}, Case{8, 0}}) {
      CAPTURE(c.data);
      auto file = opened(makers::riff(fmt_chunk() + lying_data(samples, c.data), "RIFF", c.riff));
      CHECK_FOUND(file.facts, "could not go back");
      CHECK_FALSE(file.facts.declared_frames.has_value());
      CHECK(file.facts.walked_frames == 480);
      CHECK(makers::decode(*file.source).frames == 480);
    }
  }

  TEST_CASE("C04: an empty data chunk at the end or before other chunks is empty, not streamed") {
    for (const auto& after : {std::string(), chunk("LIST", "INFOISFT\x04\0\0\0abc\0")}) {
      auto file = opened(makers::riff(fmt_chunk() + chunk("data", "") + after));
      CHECK_FALSE(mentions(file.facts.contradictions, "go back"));
      CHECK(file.facts.declared_frames == 0);
      CHECK(makers::decode(*file.source).frames == 0);
    }
  }

  TEST_CASE("C05: the RIFF size is compared, one pad byte forgiven") {
    const auto body = fmt_chunk() + chunk("data", makers::tone(100, 2, 2));
    const auto right = static_cast<std::uint32_t>(body.size() + 4);
    CHECK_CLEAN(facts_of(makers::riff(body, "RIFF", right)));
    CHECK_CLEAN(facts_of(makers::riff(body, "RIFF", right + 1)));
    CHECK_CLEAN(facts_of(makers::riff(body, "RIFF", right - 1)));
    for (const int off : {-16, -8, 8, 12, 16, 10'000}) {
      const auto f = facts_of(makers::riff(body, "RIFF", right + static_cast<std::uint32_t>(off)));
      CHECK_FOUND(f, "the RIFF size says");
      CHECK(f.contradictions[0].byte_offset == 4);
    }
  }

  TEST_CASE("C07: ds64 missing, late, short, or wrong") {
    const auto samples = makers::tone(480, 2, 2);
    const auto good = makers::wide("RF64", {}, samples);
    CHECK_CLEAN(facts_of(good));
    CHECK(facts_of(good).chunks == std::vector<std::string>{"ds64", "fmt ", "data"});

    auto file = opened(makers::riff(fmt_chunk() + lying_data(samples, 0xffffffff), "RF64", 0xffffffff));
    CHECK_FOUND(file.facts, "RF64 without a ds64 chunk");
    CHECK(makers::decode(*file.source).frames == 480);

    const auto ds64 = good.substr(12, 36);
    const auto rest = good.substr(48);
    CHECK_FOUND(facts_of(makers::riff(chunk("JUNK", "abcd") + ds64 + rest, "RF64", 0xffffffff)),
                "the first chunk of RF64 must be ds64");

    auto wrong = good;
    wrong.replace(28, 8, Maker().le(3 * samples.size(), 8).bytes);  // data size three times too large
    auto too_long = opened(wrong);
    CHECK_FOUND(too_long.facts, "the data chunk says 1 440 frames");
    CHECK(makers::decode(*too_long.source).frames == 480);

    wrong = good;
    wrong.replace(36, 8, Maker().le(481, 8).bytes);  // sample count
    CHECK_FOUND(facts_of(wrong), "ds64 says 481 frames");
    wrong.replace(0, 4, "BW64");  // where that field is a dummy (BS.2088-2)
    CHECK_CLEAN(facts_of(wrong));

    wrong = good;
    wrong.replace(20, 8, Maker().le(5, 8).bytes);  // RIFF size
    CHECK_FOUND(facts_of(wrong), "the RF64 size says");
    CHECK_FALSE(facts_of(wrong).contradictions[0].slip);  // that size is what 64 bits are there for
    wrong.replace(20, 8, Maker().le(0, 8).bytes);  // never filled in
    CHECK(facts_of(wrong).contradictions[0].slip);

    // 28 bytes are the least (BS.2088-2).
    CHECK_FOUND(facts_of(makers::riff(chunk("ds64", good.substr(20, 24)) + rest, "RF64", 0xffffffff)),
                "at least 28 are needed");
  }

  TEST_CASE("C07: a 32-bit size other than FFFFFFFFh is used as it is") {
    auto bytes = makers::wide("BW64", {}, makers::tone(480, 2, 2));
    const auto at = bytes.find("data") + 4;
    bytes.replace(at, 4, Maker().le(480 * 4, 4).bytes);
    CHECK_CLEAN(facts_of(bytes));
  }

  TEST_CASE("C08: pad bytes are read in both ways") {
    Wave mono;
    mono.channels = 1;
    mono.bits = 8;
    const auto list = chunk("LIST", std::string_view("INFOISFT\x04\0\0\0abc\0", 16));
    const std::string odd = Maker().text("junk").le(3, 4).text("abc").bytes;
    const auto data = chunk("data", std::string(100, '\x80'));

    const auto padded = facts_of(makers::riff(fmt_chunk(mono) + odd + std::string(1, '\0') + list + data));
    CHECK_CLEAN(padded);
    CHECK(padded.chunks_total == 4);
    const auto unpadded = facts_of(makers::riff(fmt_chunk(mono) + odd + list + data));
    CHECK_FOUND(unpadded, "chunk junk has an odd size and is not followed by a pad byte");
    CHECK(unpadded.contradictions.at(0).slip);
    CHECK(unpadded.chunks_total == 4);
    const auto dirty = facts_of(makers::riff(fmt_chunk(mono) + odd + "x" + list + data));
    CHECK_FOUND(dirty, "the pad byte after chunk junk is not 0");
    CHECK(dirty.contradictions.at(0).slip);
    CHECK(dirty.chunks_total == 4);
    const auto last = facts_of(makers::riff(fmt_chunk(mono) + lying_data(std::string(99, '\x80'), 99)));
    CHECK_FOUND(last, "no pad byte at the end");
    CHECK(last.contradictions.at(0).slip);
  }

  TEST_CASE("C09: format or data twice, or in the wrong order") {
    const auto samples = makers::tone(100, 2, 2);
    const auto data = chunk("data", samples);
    CHECK_FOUND(facts_of(makers::riff(fmt_chunk() + fmt_chunk() + data)), "a second format chunk");
    auto twice = opened(makers::riff(fmt_chunk() + data + data));
    CHECK_FOUND(twice.facts, "a second data chunk of 400 bytes");
    CHECK(makers::decode(*twice.source).frames == 100);
    auto late = opened(makers::riff(data + fmt_chunk()));
    CHECK_FOUND(late.facts, "the data chunk stands before the format chunk");
    CHECK(makers::decode(*late.source).frames == 100);
    CHECK(late.facts.declared_frames == 100);
  }

  TEST_CASE("C10: block align and byte rate must follow from channels and bits") {
    const auto samples = makers::tone(480, 2, 2);
    Wave wave;
    wave.block_align = 6;
    CHECK_FOUND(facts_of(makers::wav(wave, samples)), "block align is 6 bytes, 2 channels of 16 bits take 4");
    wave = {};
    wave.byte_rate = 1;
    const auto f = facts_of(makers::wav(wave, samples));
    CHECK_FOUND(f, "byte rate is 1, sample rate times block align is 192000");
    CHECK(f.contradictions[0].byte_offset == 28);
    CHECK_FALSE(f.contradictions[0].slip);
    // 24 bits in 4 bytes: only the extensible header can say so.
    wave = {};
    wave.bits = 24;
    wave.block_align = 8;
    CHECK_FOUND(facts_of(makers::wav(wave, samples)), "without the extensible header");
    wave.bits = 32;
    wave.block_align.reset();
    wave.extensible = true;
    wave.valid_bits = 24;
    const auto file = opened(makers::wav(wave, samples));
    CHECK_CLEAN(file.facts);
    CHECK(file.facts.encoding == "PCM 24-bit (in 32)");
    CHECK(file.facts.bit_depth == 24);
    CHECK(file.source->format().container_bits == 24);
  }

  TEST_CASE("C11: plain headers for 24 bits or many channels are common and no contradiction") {
    Wave wave;
    wave.bits = 24;
    CHECK_CLEAN(facts_of(makers::wav(wave, makers::tone(480, 2, 3))));
    wave.channels = 6;
    const auto file = opened(makers::wav(wave, makers::tone(480, 6, 3)));
    CHECK_CLEAN(file.facts);
    CHECK_FALSE(file.source->format().layout_known);
    CHECK(file.source->format().layout == "6 channels, layout unknown");
  }

  TEST_CASE("C12: valid bits beyond the container, or none") {
    Wave wave;
    wave.extensible = true;
    wave.valid_bits = 20;
    const auto beyond = facts_of(makers::wav(wave, makers::tone(480, 2, 2)));
    CHECK_FOUND(beyond, "20 valid bits in a container of 16 bits");
    CHECK(beyond.contradictions.at(0).slip);
    auto none = makers::wav(wave, makers::tone(480, 2, 2));
    none.replace(20 + 18, 2, std::string(2, '\0'));
    CHECK_FOUND(facts_of(none), "0 valid bits");
    wave.valid_bits = 12;
    const auto f = facts_of(makers::wav(wave, makers::tone(480, 2, 2)));
    CHECK_CLEAN(f);
    CHECK(f.bit_depth == 12);
    CHECK(f.encoding == "PCM 12-bit (in 16)");
  }

  TEST_CASE("C13: the channel mask must name as many loudspeakers as there are channels") {
    Wave wave;
    wave.extensible = true;
    wave.mask = 0x3f;
    const auto f = facts_of(makers::wav(wave, makers::tone(480, 2, 2)));
    CHECK_FOUND(f, "the channel mask 0x3F names 6 loudspeakers, the file has 2 channels");
    CHECK(f.contradictions.at(0).slip);
    CHECK(f.channel_mask == 0x3fu);
    wave.mask = 0;
    CHECK_CLEAN(facts_of(makers::wav(wave, makers::tone(480, 2, 2))));
    wave.channels = 6;
    wave.mask = 0x3f;
    CHECK(opened(makers::wav(wave, makers::tone(480, 6, 2))).source->format().layout == "5.1");
    wave.mask = 0;
    const auto unknown = opened(makers::wav(wave, makers::tone(480, 6, 2)));
    CHECK_FALSE(unknown.source->format().layout_known);
    CHECK(unknown.facts.channel_mask == 0u);
  }

  TEST_CASE("C14: chunks are listed in order, trailing bytes counted, and harmless ones contradict nothing") {
    const auto body = chunk("JUNK", std::string(28, '\0')) + fmt_chunk() + chunk("data", makers::tone(480, 2, 2)) +
                      chunk("zzzz", "abcd");
    const auto f = facts_of(makers::riff(body));
    CHECK_CLEAN(f);
    CHECK(f.chunks == std::vector<std::string>{"JUNK", "fmt ", "data", "zzzz"});
    for (const auto& tail :
         {std::string(1, 'x'), std::string("garbage at the end"), std::string(5000, '\0'), std::string(8000, 'g')}) {
      auto whole = makers::riff(body);
      whole += tail;
      const auto g = facts_of(whole);
      CHECK_CLEAN(g);
      CHECK(g.trailing_bytes == std::ssize(tail));
    }
    // 64 are listed, all are counted.
    std::string many = fmt_chunk();
    for (int i = 0; i < 500; ++i) many += chunk("many", "");
    const auto h = facts_of(makers::riff(many + chunk("data", makers::tone(10, 2, 2))));
    CHECK(h.chunks.size() == 64);
    CHECK(h.chunks_total == 502);
  }

  TEST_CASE("C14: what no known program writes, and padding by the megabyte, is listed and contradicts nothing") {
    const auto data = chunk("data", makers::tone(480, 2, 2));
    CHECK(facts_of(makers::riff(fmt_chunk() + chunk("JUNK", std::string(4096, '\0')) + data + chunk("LIST", "INFO"))).unusual_chunks.empty());
    auto f = facts_of(makers::riff(fmt_chunk() + chunk("xQz!", std::string(500, '\1')) + data));
    CHECK_CLEAN(f);
    CHECK(f.unusual_chunks == std::vector<std::string>{"xQz! (500 bytes)"});
    f = facts_of(makers::riff(fmt_chunk() + chunk("JUNK", std::string(5'000'000, '\0')) + data));
    CHECK_CLEAN(f);
    CHECK(f.unusual_chunks == std::vector<std::string>{"JUNK (5 000 000 bytes)"});
    std::string many = fmt_chunk();
    for (int i = 0; i < 500; ++i) many += chunk("many", "");
    f = facts_of(makers::riff(many + data));
    CHECK(f.unusual_chunks.size() == 64);
    CHECK(f.unusual_chunks_total == 500);
  }

  TEST_CASE("C14: a chunk id that is no text is stepped over, or said") {
    const auto data = chunk("data", makers::tone(480, 2, 2));
    const std::string id("\1\2\xff\3", 4);
    auto file = opened(makers::riff(fmt_chunk() + chunk(id, std::string(501, '\1')) + data));
    CHECK(file.facts.unusual_chunks == std::vector<std::string>{"\\x01\\x02\\xff\\x03 (501 bytes)"});
    CHECK(makers::decode(*file.source).frames == 480);
    // Its size leads nowhere: then reading ends there, and the message says so.
    for (const std::uint32_t size : {std::uint32_t{400}, std::uint32_t{0xffffffff}, std::uint32_t{0}}) {
      const auto error = error_of(makers::riff(fmt_chunk() + id + Maker().le(size, 4).bytes + std::string(501, '\1') + data));
      CHECK(error.code == ErrorCode::no_audio);
      CHECK(error.text.find("\"\\x01\\x02\\xff\\x03\" at byte 36 is no chunk id") != std::string::npos);
      CHECK(error.text.find("no data chunk stands before it") != std::string::npos);
    }
    CHECK(error_of(makers::riff(fmt_chunk())).text.find("it has no data chunk") != std::string::npos);
  }

  TEST_CASE("C15: whether bext stands before the sound") {
    const auto data = chunk("data", makers::tone(480, 2, 2)), bext = chunk("bext", std::string(602, '\0'));
    CHECK(!facts_of(makers::riff(fmt_chunk() + data)).bext_first);
    CHECK(facts_of(makers::riff(bext + fmt_chunk() + data)).bext_first == true);
    CHECK(facts_of(makers::riff(fmt_chunk() + data + bext)).bext_first == false);
    CHECK(facts_of(makers::riff(fmt_chunk() + bext + data + bext)).bext_first == true);
  }

  TEST_CASE("a chunk after the sound that is cut off is found") {
    const auto whole = makers::riff(fmt_chunk() + chunk("data", makers::tone(480, 2, 2)) +
                                    chunk("LIST", std::string_view("INFOISFT\x04\0\0\0abc\0", 16)));
    CHECK_FOUND(facts_of(whole.substr(0, whole.size() - 5)), "chunk LIST says 16 bytes, 11 are there");
  }

  TEST_CASE("a data size that is no whole number of frames is found") {
    CHECK_FOUND(facts_of(makers::riff(fmt_chunk() + chunk("data", makers::tone(480, 2, 2) + "ab"))),
                "no whole number of frames");
  }

  TEST_CASE("C15: the order of bext and data can be read from the chunk list") {
    const auto bext = chunk("bext", std::string(602, '\0'));
    const auto data = chunk("data", makers::tone(10, 2, 2));
    CHECK(facts_of(makers::riff(bext + fmt_chunk() + data)).chunks == std::vector<std::string>{"bext", "fmt ", "data"});
    CHECK(facts_of(makers::riff(fmt_chunk() + data + bext)).chunks == std::vector<std::string>{"fmt ", "data", "bext"});
  }

  TEST_CASE("C16: compressed codecs in a WAV are named, unknown ones refused by number") {
    Wave wave;
    wave.tag = 7;
    wave.bits = 8;
    wave.channels = 1;
    auto file = opened(makers::wav(wave, std::string(480, '\x55')));
    CHECK(file.facts.encoding == "\u00b5-law");
    CHECK_FALSE(file.facts.bit_depth.has_value());
    CHECK(file.source->format().lossy);
    CHECK(makers::decode(*file.source).frames == 480);
    wave.tag = 0x161;
    const auto error = error_of(makers::wav(wave, "abcd"));
    CHECK(error.code == ErrorCode::unrecognised);
    CHECK(error.text.find("0x0161") != std::string::npos);
  }

  TEST_CASE("C17: zero frames and one frame are legal headers") {
    auto none = opened(makers::wav({}, ""));
    CHECK(none.facts.declared_frames == 0);
    CHECK(makers::decode(*none.source).frames == 0);
    auto one = opened(makers::wav({}, makers::tone(1, 2, 2)));
    CHECK(one.facts.declared_frames == 1);
    CHECK(makers::decode(*one.source).frames == 1);
  }

  TEST_CASE("C22: a big-endian RIFX says what it is") {
    Maker samples;
    for (int i = 0; i < 100; ++i) samples.be(static_cast<std::uint64_t>(i * 300), 2);
    Wave wave;
    wave.channels = 1;
    const auto bytes =
        makers::riff(chunk("fmt ", format_body(wave, true), true) + chunk("data", samples.bytes, true), "RIFX");
    auto file = opened(bytes);
    CHECK_CLEAN(file.facts);
    CHECK(file.facts.container == "RIFX");
    const auto codes = makers::decode(*file.source).codes;
    REQUIRE(codes.size() == 100);
    CHECK(codes[99] == 99 * 300 << 16);
  }

  TEST_CASE("no data or no format chunk is said, and is an error") {
    CHECK(error_of(makers::riff(fmt_chunk())).code == ErrorCode::no_audio);
    CHECK(error_of(makers::riff(chunk("data", "abcd"))).code == ErrorCode::unrecognised);
    CHECK(error_of("RIFF").code == ErrorCode::unrecognised);
  }

  TEST_CASE("impossible channels, rates and widths are refused with the number that is wrong") {
    const auto samples = makers::tone(10, 2, 2);
    const auto text_with = [&](const Wave& wave) {
      const auto error = error_of(makers::wav(wave, samples));
      CHECK(error.code == ErrorCode::unrecognised);
      return error.text;
    };
    Wave wave;
    wave.channels = 0;
    wave.block_align = 4;
    CHECK(text_with(wave).find("0 channels") != std::string::npos);
    wave = {};
    wave.channels = 65'535;
    CHECK(text_with(wave).find("65 535 channels") != std::string::npos);
    wave = {};
    wave.rate = 0;
    CHECK(text_with(wave).find("0 Hz") != std::string::npos);
    wave = {};
    wave.rate = 2'000'000'000;
    CHECK(text_with(wave).find("2000000000 Hz") != std::string::npos);
    wave = {};
    wave.bits = 64;
    CHECK(text_with(wave).find("64 bits") != std::string::npos);
    wave.bits = 16;
    wave.tag = 3;
    CHECK(text_with(wave).find("16 bits") != std::string::npos);
    wave.bits = 0;
    CHECK(text_with(wave).find("0 bits") != std::string::npos);
  }

  TEST_CASE("256 channels and 768 kHz are still read") {
    Wave wave;
    wave.channels = 256;
    wave.rate = 768'000;
    auto file = opened(makers::wav(wave, makers::tone(20, 256, 2)));
    CHECK(file.source->format().channels == 256);
    CHECK(makers::decode(*file.source).frames == 20);
  }

  TEST_CASE("any cut through a file with many chunks is survived, and cut samples are never passed over") {
    makers::Wave wave;
    wave.extensible = true;
    const auto list = chunk("LIST", std::string_view("INFOIART\x04\0\0\0abc\0", 16));
    const auto whole = makers::riff(chunk("bext", std::string(602, '\0')) + chunk("fmt ", format_body(wave)) + list +
                                    chunk("iXML", "<BWFXML><NOTE>x</NOTE></BWFXML>") +
                                    chunk("id3 ", std::string_view("ID3\x03\0\0\0\0\0\0", 10)) +
                                    chunk("data", makers::tone(50, 2, 2)));
    for (const auto& bytes : {whole, makers::wide("RF64", wave, makers::tone(50, 2, 2))}) {
      for (std::size_t cut = 0; cut < bytes.size(); ++cut) {
        const auto part = bytes.substr(0, cut);
        auto result = audio::open_bytes(part, "cut.wav");
        if (!result) continue;
        const auto frames = makers::decode(*result->source).frames;
        CHECK(frames < 50);
        CHECK_FALSE(result->facts.contradictions.empty());
      }
    }
  }

  TEST_CASE("a list of a million empty chunks ends in bounded time and says so") {
    std::string many = fmt_chunk();
    for (int i = 0; i < 1'000'000; ++i) many += std::string_view("abcd\0\0\0\0", 8);
    const auto result = audio::open_bytes(many, "x.wav");
    REQUIRE_FALSE(result.has_value());
    const auto f = facts_of(makers::riff(fmt_chunk() + chunk("data", makers::tone(10, 2, 2)) + many));
    CHECK_FOUND(f, "more than 16384 chunks");
  }
}
