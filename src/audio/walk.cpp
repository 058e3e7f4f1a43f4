#include "audio/walk.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <utility>

#include "audio/picture.h"
#include "audio/tags.h"

namespace sendworthy::audio {
namespace {

bool starts_with(std::span<const std::uint8_t> bytes, std::string_view magic, std::size_t at = 0) {
  return bytes.size() >= at + magic.size() && text_at(bytes.data() + at, magic.size()) == magic;
}

// Names what a person may have handed over by mistake, so that the message can say more than "unrecognised". Empty: unknown.
std::string_view foreign_format(std::span<const std::uint8_t> head) {
  if (head.size() >= 2 && head[0] == 0xff && (head[1] & 0xf6) == 0xf0)
    return "it is a bare AAC stream (ADTS), without the M4A around it that tells its length";
  if (starts_with(head, "ADIF")) return "it is a bare AAC stream (ADIF)";
  if (starts_with(head, "\x30\x26\xb2\x75")) return "it is a Windows Media file";
  if (starts_with(head, ".snd")) return "it is a Sun/NeXT AU file";
  if (starts_with(head, "MThd")) return "it is a MIDI file, which holds notes and no sound";
  if (starts_with(head, "PK\x03\x04")) return "it is a ZIP archive; unpack it first";
  if (starts_with(head, "\x1a\x45\xdf\xa3")) return "it is a Matroska or WebM file";
  if (starts_with(head, "MAC ")) return "it is a Monkey's Audio file";
  if (starts_with(head, "wvpk")) return "it is a WavPack file";
  if (starts_with(head, "%PDF")) return "it is a PDF document";
  if (starts_with(head, "\x89PNG") || starts_with(head, "\xff\xd8\xff")) return "it is a picture";
  if (starts_with(head, "RIFF")) return "it is a RIFF file, but not of type WAVE";
  if (starts_with(head, "FORM")) return "it is an IFF file, but neither AIFF nor AIFF-C";
  return {};
}

Result<void> walk_by_content(Walk& walk) {
  const auto head = walk.window.up_to(0, 40);
  if (head.empty()) {
    if (!walk.window.bytes().error().empty())
      return walk.refuse(ErrorCode::unreadable, "reading failed: " + walk.window.bytes().error());
    return walk.refuse(ErrorCode::unrecognised, "the file is empty (0 bytes); export or copy it again");
  }
  const bool wave = starts_with(head, "WAVE", 8);
  if (wave && (starts_with(head, "RIFF") || starts_with(head, "RIFX") || starts_with(head, "RF64") ||
               starts_with(head, "BW64")))
    return walk_riff(walk);
  if (starts_with(head, "riff") && starts_with(head, std::string_view("\x2e\x91\xcf\x11", 4), 4)) return walk_w64(walk);
  if (starts_with(head, "FORM") && (starts_with(head, "AIFF", 8) || starts_with(head, "AIFC", 8)))
    return walk_aiff(walk);
  if (starts_with(head, "caff")) return walk_caf(walk);
  for (const std::string_view box : {"ftyp", "styp", "moov", "moof", "mdat", "wide"})
    if (starts_with(head, box, 4)) return walk_mp4(walk);

  // Tags may stand before FLAC, Ogg and MPEG audio, and some writers leave more than one.
  std::int64_t start = 0;
  for (int i = 0; i < 8; ++i) {
    const auto skipped = read_id3v2(walk, start, walk.size(), "ID3v2");
    if (skipped <= 0) break;
    walk.chunk("ID3v2");
    start += skipped;
  }
  const auto after = walk.window.up_to(start, 4);
  if (starts_with(after, "fLaC")) return walk_flac(walk, start);
  if (starts_with(after, "OggS")) return walk_ogg(walk, start);
  // By its first bytes a file is surer to be something else than by what looks like a frame further on.
  const auto foreign = foreign_format(walk.window.up_to(0, 40));
  if (foreign.empty() && looks_like_mpeg(walk.window, start)) return walk_mpeg(walk, start, walk.size(), false);
  if (start > 0)
    return walk.refuse(ErrorCode::no_audio,
                       fmt::format("after {} bytes of ID3v2 tag there is no audio; export it again", grouped(start)));
  const auto shown = walk.window.up_to(0, 40);
  const bool zeros = std::all_of(shown.begin(), shown.end(), [](std::uint8_t c) { return c == 0; });
  return walk.refuse(ErrorCode::unrecognised,
                     fmt::format("{}; export WAV, AIFF, CAF, FLAC, Ogg Vorbis, Opus or MP3",
                                 !foreign.empty() ? foreign
                                 : zeros          ? "it begins with zeros only"
                                                  : "its first bytes are not those of an audio file"));
}

// What the same tag is called in different kinds of tags, by common practice → one name, in lower case.
std::string one_name(std::string name) {
  for (auto& c : name) c = c >= 'A' && c <= 'Z' ? static_cast<char>(c - 'A' + 'a') : c;
  constexpr std::pair<std::string_view, std::string_view> kOthers[] = {
      {"tracknumber", "track"}, {"track number", "track"}, {"discnumber", "disc"},          {"disc number", "disc"},
      {"year", "date"},         {"recorded date", "date"}, {"comments", "comment"},         {"album artist", "albumartist"},
      {"barcode", "upc"},       {"ean", "upc"},            {"gtin", "upc"},                 {"ean/upc", "upc"},
      {"ean/upn", "upc"},       {"upc/ean", "upc"},        {"upc/ean number", "upc"},
  };
  for (const auto& [other, one] : kOthers) {
    if (name == other) return std::string(one);
  }
  return name;
}

struct Family {
  std::string_view extensions;  // between spaces
  std::string_view containers;  // between bars
};
constexpr Family kFamilies[] = {
    {" wav wave bwf rf64 bw64 ", "|WAV|RIFX|RF64|BW64|"},
    {" w64 ", "|W64|"},
    {" aif aiff aifc ", "|AIFF|AIFF-C|"},
    {" caf ", "|CAF|"},
    {" flac ", "|FLAC|"},
    {" ogg oga ", "|Ogg Vorbis|Opus|"},
    {" opus ", "|Opus|"},
    {" mp3 mp2 mpa mp1 ", "|MP3|"},
    {" m4a m4b m4r ", "|M4A|"},
    {" mp4 m4v ", "|M4A|MP4|"},
    {" mov qt ", "|QuickTime|"},
    // What no container read here is ever called.
    {" aac wma au snd mp2 txt pdf zip mid midi avi mkv webm jpg png doc docx ape wv ", "||"},
};

void judge_extension(FileFacts& facts, const SampleData& data) {
  const auto extension = extension_of(facts.path);
  if (data.codec == Codec::mpeg && facts.container != "MP3") {
    facts.extension_matches = false;
    facts.extension_note = fmt::format("a {} container around {}", facts.container, facts.encoding);
    return;
  }
  for (const auto& family : kFamilies) {
    if (extension.empty() || family.extensions.find(" " + extension + " ") == std::string_view::npos) continue;
    if (family.containers.find("|" + facts.container + "|") != std::string_view::npos) {
      if (facts.container != "MP3" || facts.encoding.find("layer III") != std::string::npos) return;
    }
    facts.extension_matches = false;
    facts.extension_note = fmt::format("named .{}, holds {}", printable(extension),
                                       facts.container == "MP3" ? facts.encoding : facts.container);
    return;
  }
}

}  // namespace

void Walk::contradict(std::int64_t byte_offset, std::string text, bool slip) {
  auto& list = result.facts.contradictions;
  if (list.size() < kMaxDamage)
    list.push_back({std::move(text), byte_offset, -1, slip});
  else if (list.size() == kMaxDamage)
    list.push_back({"further contradictions are not listed", byte_offset, -1});
}

void Walk::damage(std::int64_t byte_offset, std::string text, std::int64_t frame, bool slip) {
  auto& list = result.stream_damage;
  if (list.size() < kMaxDamage)
    list.push_back({std::move(text), byte_offset, frame, slip});
  else if (list.size() == kMaxDamage)
    list.push_back({"further damage is not listed", byte_offset, frame});
}

void Walk::chunk(std::string_view id) {
  auto& facts = result.facts;
  if (facts.chunks.size() < kMaxChunksListed) facts.chunks.push_back(printable(id));
  ++facts.chunks_total;
}

void Walk::unusual(std::string_view id, std::int64_t bytes) {
  auto& list = result.facts.unusual_chunks;
  if (list.size() < kMaxChunksListed) list.push_back(fmt::format("{} ({} bytes)", printable(id), grouped(bytes)));
  ++result.facts.unusual_chunks_total;
}

void Walk::text(std::string origin, std::string name, std::string_view value) {
  auto& fields = result.facts.text_fields;
  if (value.empty() || fields.size() >= kMaxTexts) return;
  fields.push_back({std::move(origin), std::move(name), std::string(value.substr(0, kMaxTextBytes))});
}

void Walk::label(std::uint32_t cue_point, std::string_view name) {
  if (labels.size() < kMaxMarkers) labels.emplace(cue_point, name.substr(0, kMaxMarkerName));
}

void Walk::tag(std::string name, std::string_view value, std::string origin) {
  auto& tags = result.facts.tags;
  if (value.empty() || tags.size() >= kMaxTexts) return;
  tags.push_back({one_name(std::move(name)), std::string(value.substr(0, kMaxTextBytes)), std::move(origin)});
}

void Walk::artwork(std::string origin, std::string_view mime, std::int64_t byte_offset, std::int64_t bytes,
                   std::span<const std::uint8_t> in_memory) {
  auto& facts = result.facts;
  facts.embedded_artwork_bytes += std::max<std::int64_t>(0, bytes);
  if (facts.artworks.size() >= kMaxArtworks) return;
  Artwork artwork{std::move(origin), std::string(mime.substr(0, 64)), byte_offset, std::max<std::int64_t>(0, bytes), {}};
  if (bytes <= 0) {
    artwork.head.trouble = "its place is there, the picture is not";
  } else if (!in_memory.empty()) {
    artwork.head = read_picture_head(in_memory);
  } else if (byte_offset < 0) {
    artwork.head.trouble = "it is stored in a form that is not looked into";
  } else {
    artwork.head = read_picture_head(window, byte_offset, std::min(bytes, size() - byte_offset));
  }
  facts.artworks.push_back(std::move(artwork));
}

tl::unexpected<Error> Walk::refuse(ErrorCode code, const std::string& reason) const {
  return fail(code, fmt::format("cannot read \"{}\": {}", result.facts.path, reason));
}

Result<void> Walk::check_format(std::int64_t channels, double sample_rate) const {
  if (channels < 1) return refuse(ErrorCode::unrecognised, "its header says 0 channels; export it again");
  if (channels > kMaxChannels)
    return refuse(ErrorCode::unrecognised,
                  fmt::format("its header says {} channels, at most {} can be read; export it again", grouped(channels),
                              kMaxChannels));
  // Written so that NaN fails too.
  // Below 1 kHz there is no sound worth measuring, only headers that lie; and every series per second would grow past
  // all bounds.
  if (!(sample_rate >= 1000 && sample_rate <= kMaxSampleRate))
    return refuse(ErrorCode::unrecognised,
                  fmt::format("its header says a sample rate of {} Hz, 1 000 to 768 000 Hz can be read; export it again",
                              std::isfinite(sample_rate) ? fmt::format("{:.10g}", sample_rate) : "(no number)"));
  return {};
}

Result<Walked> walk(Bytes& bytes, const std::string& path) {
  Walk walk(bytes, path);
  if (auto walked = walk_by_content(walk); !walked) return tl::unexpected(walked.error());
  if (!bytes.error().empty()) return walk.refuse(ErrorCode::unreadable, "reading failed: " + bytes.error());
  auto& facts = walk.result.facts;
  std::stable_sort(facts.contradictions.begin(), facts.contradictions.end(),
                   [](const Damage& a, const Damage& b) { return a.byte_offset < b.byte_offset; });
  judge_extension(facts, walk.result.data);
  return std::move(walk.result);
}

std::int64_t frames_in(const SampleData& data, std::int64_t bytes) {
  if (data.frame_bytes <= 0 || bytes <= 0) return 0;
  return bytes / data.frame_bytes * data.packet_frames;
}

std::string grouped(std::int64_t number) {
  auto digits = std::to_string(number);
  const std::size_t first = number < 0 ? 1 : 0;
  for (auto at = static_cast<std::ptrdiff_t>(digits.size()) - 3; at > static_cast<std::ptrdiff_t>(first); at -= 3)
    digits.insert(static_cast<std::size_t>(at), 1, ' ');
  return digits;
}

std::string printable(std::string_view id) {
  std::string out;
  for (const char c : id) {
    const auto code = static_cast<unsigned char>(c);
    if (code >= 0x20 && code <= 0x7e)
      out += c;
    else
      out += fmt::format("\\x{:02x}", code);
  }
  return out;
}

std::string extension_of(std::string_view path) {
  const auto slash = path.find_last_of("/\\");
  if (slash != std::string_view::npos) path.remove_prefix(slash + 1);
  const auto dot = path.rfind('.');
  if (dot == std::string_view::npos || dot == 0) return {};
  std::string extension(path.substr(dot + 1));
  for (auto& c : extension) {
    if (c >= 'A' && c <= 'Z') c = static_cast<char>(c - 'A' + 'a');
  }
  return extension;
}

}  // namespace sendworthy::audio
