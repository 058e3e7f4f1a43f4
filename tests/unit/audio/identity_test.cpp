// Own reading of plain PCM against libsndfile, FFmpeg and SoX, sample by sample, on files these three have written; and
// the walk on the same files: what the field's writers write is clean.
#include <doctest/doctest.h>
#include <sndfile.h>

#include <bit>
#include <cstring>
#include <random>

#include "audio/file.h"
#include "makers.h"

using namespace sendworthy;
using makers::Folder;

namespace {

struct Reference {
  std::vector<std::int32_t> codes;
  std::vector<double> reals;
};

// The whole file by libsndfile itself.
Reference by_libsndfile(const std::string& path, bool integer) {
  SF_INFO info{};
  auto* file = sf_open(path.c_str(), SFM_READ, &info);
  REQUIRE_MESSAGE(file != nullptr, sf_strerror(nullptr));
  Reference out;
  std::vector<std::int32_t> codes(static_cast<std::size_t>(integer ? 512 * info.channels : 0));
  std::vector<double> reals(static_cast<std::size_t>(integer ? 0 : 512 * info.channels));
  for (;;) {
    const auto got = integer ? sf_readf_int(file, codes.data(), 512) : sf_readf_double(file, reals.data(), 512);
    if (got <= 0) break;
    if (integer)
      out.codes.insert(out.codes.end(), codes.begin(), codes.begin() + got * info.channels);
    else
      out.reals.insert(out.reals.end(), reals.begin(), reals.begin() + got * info.channels);
  }
  sf_close(file);
  return out;
}

template <class T>
std::vector<T> words_of(const std::string& bytes) {
  std::vector<T> words(bytes.size() / sizeof(T));
  std::memcpy(words.data(), bytes.data(), words.size() * sizeof(T));
  return words;
}

// Equal to the bit, NaN included.
bool same(const std::vector<double>& a, const std::vector<double>& b) {
  return a.size() == b.size() && (a.empty() || std::memcmp(a.data(), b.data(), a.size() * sizeof(double)) == 0);
}

audio::OpenedFile open_clean(const std::string& path) {
  auto opened = audio::open_file(path);
  REQUIRE_MESSAGE(opened.has_value(), opened.error().text);
  CHECK_MESSAGE(opened->facts.contradictions.empty(), path << ": " << makers::joined(opened->facts.contradictions));
  CHECK_MESSAGE(opened->facts.extension_matches, path << ": " << opened->facts.extension_note);
  CHECK(opened->facts.trailing_bytes == 0);
  return std::move(*opened);
}

// Three counts that must agree on a sound file, and every sample.
void check_against(const std::string& path, const Reference& reference) {
  CAPTURE(path);
  auto opened = open_clean(path);
  const auto decoded = makers::decode(*opened.source, 777);
  CHECK(opened.facts.declared_frames == decoded.frames);
  CHECK(opened.facts.walked_frames == decoded.frames);
  CHECK(decoded.codes == reference.codes);
  CHECK(same(decoded.reals, reference.reals));
  CHECK_MESSAGE(opened.source->damage().empty(), makers::joined(opened.source->damage()));
}

std::vector<std::int32_t> noise_codes(std::size_t count, unsigned seed) {
  std::mt19937 random(seed);
  std::vector<std::int32_t> codes(count);
  for (auto& code : codes) code = static_cast<std::int32_t>(random());
  codes[0] = INT32_MIN;
  codes[1] = INT32_MAX;
  codes[2] = 0;
  codes[3] = -1;
  return codes;
}

struct Writing {
  const char* extension;
  int format;
};

}  // namespace

TEST_SUITE("audio/identity") {
  TEST_CASE("every plain format libsndfile writes is read to the same samples, and its headers are clean") {
    const Folder folder;
    const Writing containers[] = {
        {"wav", SF_FORMAT_WAV},
        {"wav", SF_FORMAT_WAV | SF_ENDIAN_BIG},
        {"wav", SF_FORMAT_WAVEX},
        {"rf64", SF_FORMAT_RF64},
        {"w64", SF_FORMAT_W64},
        {"aiff", SF_FORMAT_AIFF},
        {"aifc", SF_FORMAT_AIFF | SF_ENDIAN_LITTLE},
        {"caf", SF_FORMAT_CAF},
        {"caf", SF_FORMAT_CAF | SF_ENDIAN_LITTLE},
    };
    const int subtypes[] = {SF_FORMAT_PCM_S8, SF_FORMAT_PCM_U8, SF_FORMAT_PCM_16, SF_FORMAT_PCM_24,
                            SF_FORMAT_PCM_32, SF_FORMAT_FLOAT,  SF_FORMAT_DOUBLE};
    int written = 0;
    for (const auto& container : containers) {
      for (const int subtype : subtypes) {
        for (const int channels : {1, 2, 3, 6, 8}) {
          SF_INFO info{};
          info.samplerate = 48'000;
          info.channels = channels;
          info.format = container.format | subtype;
          if (sf_format_check(&info) == 0) continue;
          const auto path = folder.file(std::to_string(written) + "." + container.extension);
          auto* file = sf_open(path.c_str(), SFM_WRITE, &info);
          if (file == nullptr) continue;
          constexpr int kFrames = 1501;  // odd, so that odd chunk sizes and pad bytes occur
          const auto codes = noise_codes(static_cast<std::size_t>(kFrames * channels), static_cast<unsigned>(written));
          const bool integer = subtype != SF_FORMAT_FLOAT && subtype != SF_FORMAT_DOUBLE;
          if (integer) {
            REQUIRE(sf_writef_int(file, codes.data(), kFrames) == kFrames);
          } else {
            std::vector<double> reals;
            for (const auto code : codes) reals.push_back(code / 1.7e9);  // reaches beyond ±1
            REQUIRE(sf_writef_double(file, reals.data(), kFrames) == kFrames);
          }
          sf_close(file);
          check_against(path, by_libsndfile(path, integer));
          ++written;
        }
      }
    }
    CHECK(written > 150);
  }

  TEST_CASE("NaN and infinities of a float file arrive as they stand") {
    const Folder folder;
    for (const int subtype : {SF_FORMAT_FLOAT, SF_FORMAT_DOUBLE}) {
      SF_INFO info{};
      info.samplerate = 44'100;
      info.channels = 1;
      info.format = SF_FORMAT_WAV | subtype;
      const auto path = folder.file("nan.wav");
      auto* file = sf_open(path.c_str(), SFM_WRITE, &info);
      const double values[] = {0.5, NAN, INFINITY, -INFINITY, 5e-324, -0.0, 1e-42};
      REQUIRE(sf_writef_double(file, values, 7) == 7);
      sf_close(file);
      auto opened = open_clean(path);
      const auto got = makers::decode(*opened.source).reals;
      REQUIRE(got.size() == 7);
      CHECK(std::isnan(got[1]));
      CHECK(got[2] == INFINITY);
      CHECK(got[3] == -INFINITY);
      CHECK(std::signbit(got[5]));
    }
  }

  TEST_CASE("every plain format FFmpeg writes is read to the samples FFmpeg reads, and its headers are clean") {
    if (!makers::have("ffmpeg")) return;
    const Folder folder;
    const auto source = folder.file("source.wav");
    // Two channels of noise; 0.0301 s at 44.1 kHz is an odd number of frames.
    REQUIRE(makers::run(
        "ffmpeg -y -f lavfi -i 'anoisesrc=r=44100:a=0.9:d=0.0301,aformat=channel_layouts=stereo' -c:a pcm_f64le " +
        source));
    const std::pair<const char*, std::vector<const char*>> formats[] = {
        {"wav", {"pcm_u8", "pcm_s16le", "pcm_s24le", "pcm_s32le", "pcm_f32le", "pcm_f64le"}},
        {"w64", {"pcm_u8", "pcm_s16le", "pcm_s24le", "pcm_s32le", "pcm_f32le", "pcm_f64le"}},
        {"aiff", {"pcm_s8", "pcm_s16be", "pcm_s24be", "pcm_s32be"}},
        {"aifc", {"pcm_s16le", "pcm_f32be", "pcm_f64be"}},
        {"caf",
         {"pcm_s8", "pcm_s16be", "pcm_s16le", "pcm_s24be", "pcm_s24le", "pcm_s32be", "pcm_s32le", "pcm_f32be",
          "pcm_f32le", "pcm_f64be", "pcm_f64le"}},
    };
    for (const auto& [extension, codecs] : formats) {
      for (const std::string codec : codecs) {
        for (const int channels : {1, 2, 6}) {
          for (const bool rf64 : {false, true}) {
            if (rf64 && std::string_view(extension) != "wav") continue;
            if (channels != 1 && std::string_view(extension) != "wav") continue;  // starting FFmpeg takes its time
            const auto path = folder.file(codec + std::to_string(channels) + (rf64 ? "64" : "") + "." + extension);
            REQUIRE(makers::run("ffmpeg -y -i " + source + " -ac " + std::to_string(channels) + " -c:a " + codec +
                                (rf64 ? " -rf64 always " : " ") +
                                (std::string_view(extension) == "aifc" ? "-f aiff " : "") + path));
            const bool integer = codec.find("_f") == std::string::npos;
            REQUIRE(makers::run("ffmpeg -y -i " + path +
                                (integer ? " -c:a pcm_s32le -f s32le " : " -c:a pcm_f64le -f f64le ") +
                                folder.file("raw")));
            const auto raw = makers::contents(folder.file("raw"));
            Reference reference;
            if (integer)
              reference.codes = words_of<std::int32_t>(raw);
            else
              reference.reals = words_of<double>(raw);
            // FFmpeg counts the pad byte of an odd 8-bit data chunk as a sample when it reads an RF64 back.
            if (rf64 && codec == "pcm_u8" && channels == 1) reference.codes.resize(1327);
            check_against(path, reference);
          }
        }
      }
    }
  }

  TEST_CASE("every plain format SoX writes is read to the samples SoX reads, and its headers are clean") {
    if (!makers::have("sox")) return;
    const Folder folder;
    struct Kind {
      const char* extension;
      const char* options;
    };
    const Kind kinds[] = {
        {"wav", "-e unsigned -b 8"}, {"wav", "-e signed -b 16"},  {"wav", "-e signed -b 24"},
        {"wav", "-e signed -b 32"},  {"aiff", "-e signed -b 8"},  {"aiff", "-e signed -b 16"},
        {"aiff", "-e signed -b 24"}, {"aiff", "-e signed -b 32"}, {"aifc", "-e signed -b 16"},
        {"caf", "-e signed -b 24"},  {"w64", "-e signed -b 16"},
    };
    for (const auto& kind : kinds) {
      for (const int channels : {1, 2, 5}) {
        const auto path = folder.file("x." + std::string(kind.extension));
        REQUIRE(makers::run("sox -n -r 48000 -c " + std::to_string(channels) + " " + kind.options + " " + path +
                            " synth 0.0301 whitenoise vol 0.8"));
        REQUIRE(makers::run("sox " + path + " -t raw -e signed -b 32 -L " + folder.file("raw")));
        Reference reference;
        reference.codes = words_of<std::int32_t>(makers::contents(folder.file("raw")));
        CAPTURE(kind.options);
        check_against(path, reference);
      }
    }
  }

  TEST_CASE("BW64, which libsndfile 1.2.0 does not know, is read as the RF64 with the same samples") {
    const auto samples = makers::tone(480, 2, 3);
    makers::Wave wave;
    wave.bits = 24;
    std::vector<std::int32_t> codes[2];
    int i = 0;
    for (const std::string form : {"RF64", "BW64"}) {
      const auto bytes = makers::wide(form, wave, samples);
      auto opened = audio::open_bytes(bytes, "x.wav");
      REQUIRE(opened.has_value());
      CHECK(opened->facts.container == form);
      CHECK_MESSAGE(opened->facts.contradictions.empty(), makers::joined(opened->facts.contradictions));
      CHECK(opened->facts.declared_frames == 480);
      codes[i++] = makers::decode(*opened->source).codes;
    }
    CHECK(codes[0].size() == 960);
    CHECK(codes[0] == codes[1]);
  }

  TEST_CASE("the size of the blocks that are asked for changes nothing") {
    const Folder folder;
    const auto samples = makers::tone(5000, 2, 3);
    makers::Wave wave;
    wave.bits = 24;
    const auto path = folder.write("x.wav", makers::wav(wave, samples));
    std::vector<std::int32_t> first;
    for (const std::int64_t block : {1, 37, 480, 4096, 100'000}) {
      auto opened = audio::open_file(path);
      REQUIRE(opened.has_value());
      const auto decoded = makers::decode(*opened->source, block);
      CHECK(decoded.frames == 5000);
      if (first.empty()) first = decoded.codes;
      CHECK(decoded.codes == first);
    }
  }

  TEST_CASE("24-bit files of every length keep their first and last sample") {
    // The reader takes four bytes at a time from three-byte samples: the edges are where that could go wrong.
    for (int frames = 1; frames < 20; ++frames) {
      makers::Maker samples;
      for (int i = 0; i < frames; ++i) samples.le(static_cast<std::uint64_t>(0x800000 + i), 3);
      makers::Wave wave;
      wave.channels = 1;
      wave.bits = 24;
      const auto bytes = makers::wav(wave, samples.bytes);
      auto opened = audio::open_bytes(bytes, "x.wav");
      REQUIRE(opened.has_value());
      const auto codes = makers::decode(*opened->source).codes;
      REQUIRE(std::ssize(codes) == frames);
      for (int i = 0; i < frames; ++i)
        CHECK(codes[static_cast<std::size_t>(i)] ==
              static_cast<std::int32_t>((0x800000u + static_cast<unsigned>(i)) << 8));
    }
  }
}
