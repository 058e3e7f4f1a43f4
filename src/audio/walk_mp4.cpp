// The MP4 family (ISO/IEC 14496-12, and QuickTime before it): boxes in boxes, with big-endian sizes. Read are the header and
// the tables of the first sound track; the sound itself is for a helper program.
#include <fmt/format.h>
#include <fmt/ranges.h>

#include <algorithm>
#include <cstdlib>
#include <optional>
#include <string>
#include <vector>

#include "audio/aac_config.h"
#include "audio/mp4_box.h"
#include "audio/speakers.h"
#include "audio/walk.h"

namespace sendworthy::audio {
namespace {

// Bound for sums out of a file that may lie: 2^42 ticks are years at any rate.
constexpr std::int64_t kMostTicks = std::int64_t{1} << 42;
constexpr std::int64_t kMostEntries = 1 << 24;  // of one table: more than a week of packets
constexpr std::int64_t kMostEdits = 64;
constexpr std::int64_t kMaxTracks = 256;

std::int64_t plus(std::int64_t sum, std::uint64_t more) {
  const auto room = static_cast<std::uint64_t>(kMostTicks - sum);
  return more < room ? sum + static_cast<std::int64_t>(more) : kMostTicks;
}

// `ticks` of `from` a second, in those of `to` a second, rounded down. `from` and `to` are below 2^32.
std::int64_t rescaled(std::int64_t ticks, std::int64_t from, std::int64_t to) {
  if (from <= 0 || from == to) return ticks;
  const auto whole = ticks / from, rest = ticks % from;
  if (whole > kMostTicks / std::max<std::int64_t>(1, to)) return kMostTicks;
  const auto part = static_cast<std::uint64_t>(rest) * static_cast<std::uint64_t>(to) / static_cast<std::uint64_t>(from);
  return plus(whole * to, part);
}

struct Edit {
  std::int64_t length = 0;  // in the movie's ticks
  std::int64_t start = 0;   // in the track's; -1: nothing is played
};

struct Track {
  std::int64_t id = 0;
  std::string handler;
  std::int64_t timescale = 0, duration = 0;
  std::vector<Edit> edits;
  std::int64_t edits_total = 0;
  std::optional<Mp4Box> descriptions, times, sizes, chunks;
  bool wide_chunks = false, small_sizes = false;
};

class Mp4Walk {
 public:
  explicit Mp4Walk(Walk& walk) : walk_(walk), window_(walk.window), boxes_(walk), size_(walk.size()) {}

  Result<void> run() {
    walk_.result.facts.container = "M4A";
    top();
    if (squeezed_) return refuse("its header is compressed, which is not read; export it again");
    if (!moov_ && boxes_.spent())
      return refuse(fmt::format("its first {} boxes hold no header (moov), and more are not read; export it again", kMaxChunksWalked));
    if (!moov_ && fragments_) return refuse("it is a piece of a fragmented MP4 without its header (moov); export the whole file");
    if (!moov_)
      return refuse("it is an MP4 family file (M4A, MP4, MOV) without a header (moov): its export or recording was never finished, "
                    "or its end is missing; copy or export it again");
    if (tracks_.empty()) return walk_.refuse(ErrorCode::no_audio, "its header names no sound track; export it again");
    if (media_at_ < 0)
      return walk_.refuse(ErrorCode::no_audio, "it has no mdat box, so there is no audio in it; copy or export it again");
    if (auto ok = description(); !ok) return ok;
    if (auto ok = walk_.check_format(channels_, sample_rate_); !ok) return ok;
    auto& format = walk_.result.format;
    format.sample_rate = static_cast<int>(sample_rate_);
    format.channels = static_cast<int>(channels_);
    speakers();
    tables();
    finish();
    return {};
  }

 private:
  tl::unexpected<Error> refuse(const std::string& why) const { return walk_.refuse(ErrorCode::unrecognised, why); }

  // --- the outermost boxes ---

  void top() {
    std::int64_t at = 0;
    while (const auto box = boxes_.next(at, size_, true)) {
      walk_.chunk(box->type);
      if (box->type == "ftyp" && at == 0) {
        const auto* p = window_.at(box->body, 4);
        if (p != nullptr && box->length() >= 4) brand_ = std::string(text_at(p, 4));
      } else if (box->type == "mdat") {
        media_bytes_ += box->length();
        if (media_at_ < 0) media_at_ = box->body, media_length_ = box->length();
        media_first_ = media_first_ || !moov_;
      } else if (box->type == "moov") {
        if (moov_)
          walk_.contradict(at, "a second moov box; readers disagree about which one counts");
        else
          header(*box);
        moov_ = true;
      } else if (box->type == "moof") {
        fragments_ = true;
        fragment(*box);
      }
      at = box->end;
    }
    const auto tail = size_ - at;
    walk_.result.facts.trailing_bytes = tail;
    constexpr std::int64_t kTooMuchForChance = 4096;
    if (tail >= kTooMuchForChance && !boxes_.spent())
      walk_.contradict(at, fmt::format("{} bytes after the last box are no legal box", grouped(tail)));
  }

  void header(const Mp4Box& moov) {
    boxes_.in(moov.body, moov.end, [&](const Mp4Box& box) {
      if (box.type == "mvhd") {
        if (const auto times = durations(box)) movie_timescale_ = times->first;
      } else if (box.type == "trak") {
        track(box);
      } else if (box.type == "udta") {
        boxes_.in(box.body, box.end, [&](const Mp4Box& part) {
          if (part.type == "meta") read_mp4_items(walk_, boxes_, part);
        });
      } else if (box.type == "mvex") {
        boxes_.in(box.body, box.end, [&](const Mp4Box& part) {
          const auto* p = part.type == "trex" && part.length() >= 24 ? window_.at(part.body, 24) : nullptr;
          if (p != nullptr && fragment_defaults_.size() < static_cast<std::size_t>(kMaxTracks))
            fragment_defaults_.push_back({be32(p + 4), be32(p + 12), be32(p + 16)});
        });
        fragments_ = true;
      } else if (box.type == "cmov") {
        squeezed_ = true;
      }
    });
  }

  // Time scale and duration of an mvhd or mdhd box.
  std::optional<std::pair<std::int64_t, std::int64_t>> durations(const Mp4Box& box) {
    const auto* p = box.length() >= 20 ? window_.at(box.body, std::min<std::int64_t>(32, box.length())) : nullptr;
    if (p == nullptr) return std::nullopt;
    if (p[0] == 0) {
      const auto duration = be32(p + 16);
      return std::pair<std::int64_t, std::int64_t>(be32(p + 12), duration == 0xffffffff ? 0 : duration);
    }
    if (p[0] != 1 || box.length() < 32) return std::nullopt;
    const auto duration = be64(p + 24);
    return std::pair<std::int64_t, std::int64_t>(be32(p + 20), duration == ~std::uint64_t{0} ? 0 : plus(0, duration));
  }

  void track(const Mp4Box& trak) {
    Track track;
    boxes_.in(trak.body, trak.end, [&](const Mp4Box& box) {
      if (box.type == "tkhd") {
        const auto* p = box.length() >= 24 ? window_.at(box.body, 24) : nullptr;
        if (p != nullptr) track.id = be32(p + (p[0] == 1 ? 20 : 12));
      } else if (box.type == "edts") {
        boxes_.in(box.body, box.end, [&](const Mp4Box& part) {
          if (part.type == "elst") edits(part, track);
        });
      } else if (box.type == "mdia") {
        media(box, track);
      }
    });
    if (track.handler == "vide") ++pictures_;
    if (track.handler != "soun") return;
    if (tracks_.empty())
      tracks_.push_back(std::move(track));
    else if (++more_sounds_ == 1)
      walk_.contradict(trak.at, "a second sound track; only the first one is read");
  }

  void media(const Mp4Box& mdia, Track& track) {
    boxes_.in(mdia.body, mdia.end, [&](const Mp4Box& box) {
      if (box.type == "mdhd") {
        const auto times = durations(box);
        if (times) track.timescale = times->first, track.duration = times->second;
      } else if (box.type == "hdlr") {
        const auto* p = box.length() >= 12 ? window_.at(box.body + 8, 4) : nullptr;
        if (p != nullptr) track.handler = std::string(text_at(p, 4));
      } else if (box.type == "minf") {
        boxes_.in(box.body, box.end, [&](const Mp4Box& part) {
          if (part.type != "stbl") return;
          boxes_.in(part.body, part.end, [&](const Mp4Box& table) {
            if (table.type == "stsd") track.descriptions = table;
            if (table.type == "stts") track.times = table;
            if (table.type == "stsz" || table.type == "stz2") track.sizes = table, track.small_sizes = table.type == "stz2";
            if (table.type == "stco" || table.type == "co64") track.chunks = table, track.wide_chunks = table.type == "co64";
          });
        });
      }
    });
  }

  void edits(const Mp4Box& box, Track& track) {
    const auto* p = box.length() >= 8 ? window_.at(box.body, 8) : nullptr;
    if (p == nullptr) return;
    const bool wide = p[0] == 1;
    const std::int64_t width = wide ? 20 : 12, count = be32(p + 4);
    const auto room = (box.length() - 8) / width;
    if (count > room) walk_.contradict(box.at, fmt::format("the edit list promises {} entries and has room for {}", count, room));
    track.edits_total = std::min(count, room);
    for (std::int64_t i = 0; i < std::min(track.edits_total, kMostEdits); ++i) {
      const auto* e = window_.at(box.body + 8 + i * width, width);
      if (e == nullptr) return;
      // Written so that -1 stays what it is and no other start is below 0.
      const auto start = wide ? static_cast<std::int64_t>(be64(e + 8)) : static_cast<std::int32_t>(be32(e + 4));
      track.edits.push_back({plus(0, wide ? be64(e) : be32(e)), start < 0 ? -1 : std::min(start, kMostTicks)});
    }
  }

  // --- what the sound is ---

  Result<void> description() {
    const auto& box = tracks_.front().descriptions;
    const auto* p = box && box->length() >= 8 ? window_.at(box->body, 8) : nullptr;
    if (p == nullptr) return refuse("its sound track does not say what it holds (no stsd); export it again");
    if (be32(p + 4) > 1) walk_.contradict(box->at, fmt::format("{} descriptions of the sound; only the first one is read", be32(p + 4)));
    // Of its own budget: a heap of boxes elsewhere must not keep the sound from being known.
    Mp4Boxes boxes(walk_);
    const auto entry = boxes.next(box->body + 8, box->end);
    // Reserved, reference, version, two reserved, channels, bits, two reserved, rate in 16.16: 28 bytes.
    const auto* e = entry && entry->length() >= 28 ? window_.at(entry->body, 28) : nullptr;
    if (e == nullptr) return refuse("the description of its sound is broken; export it again");
    const int version = be16(e + 8);
    entry_rate_ = be32(e + 24) >> 16;
    channels_ = be16(e + 16);
    const std::int64_t skip = version == 1 ? 44 : version == 2 ? 64 : 28;
    std::optional<Mp4Box> found;
    const auto wanted = entry->type == "mp4a" ? "esds" : "alac";
    const auto look = [&](const Mp4Box& part) {
      if (part.type == wanted && !found) found = part;
    };
    boxes.in(std::min(entry->body + skip, entry->end), entry->end, [&](const Mp4Box& part) {
      look(part);
      if (part.type == "wave") boxes.in(part.body, part.end, look);  // QuickTime
    });
    if (entry->type == "enca" || entry->type == "drms")
      return refuse("its sound is encrypted against copying; ask for a file without protection");
    if (entry->type != "mp4a" && entry->type != "alac") return other_codec(printable(entry->type));
    if (!found) return refuse(fmt::format("its {} sound has no {} box, so no decoder can be set up; export it again", entry->type, wanted));
    const auto cookie = copy_range(window_.bytes(), found->body + 4, found->length() - 4, 4096);
    return entry->type == "mp4a" ? aac(*found, cookie) : alac(cookie);
  }

  tl::unexpected<Error> other_codec(const std::string& what) const {
    return refuse(fmt::format("it is an MP4 family file around {}; of those, AAC and ALAC are read; export WAV, or FLAC", what));
  }

  Result<void> aac(const Mp4Box& box, std::span<const std::uint8_t> cookie) {
    const auto config = read_aac_config(cookie);
    if (!config) return refuse("the description of its AAC sound (esds) is broken; export it again");
    if (!config->is_aac) return other_codec(config->encoding);
    auto& data = walk_.result.data;
    data.codec = Codec::aac;
    data.packet_frames = config->packet_frames;
    walk_.result.facts.encoding = config->encoding;
    sample_rate_ = config->sample_rate;
    if (config->channels > 0) channels_ = config->channels;
    if (entry_rate_ != 0 && entry_rate_ != config->sample_rate && entry_rate_ != config->core_rate)
      walk_.contradict(box.at, fmt::format("the sample rate is {} Hz by the track and {} Hz by the codec", entry_rate_, config->core_rate));
    constant_ = config->mean_bit_s > 0 && config->mean_bit_s == config->highest_bit_s;
    auto& format = walk_.result.format;
    format.kind = SampleKind::real;
    format.lossy = true;
    return {};
  }

  Result<void> alac(std::span<const std::uint8_t> cookie) {
    const auto config = read_alac_config(cookie);
    if (!config) return refuse("the description of its ALAC sound is broken; export it again");
    auto& data = walk_.result.data;
    data.codec = Codec::alac;
    data.packet_frames = static_cast<int>(config->packet_frames);
    auto& facts = walk_.result.facts;
    facts.encoding = fmt::format("ALAC {}-bit", config->bits);
    facts.bit_depth = config->bits;
    sample_rate_ = config->sample_rate;
    channels_ = config->channels;
    auto& format = walk_.result.format;
    format.kind = SampleKind::integer;
    format.container_bits = (config->bits + 7) / 8 * 8;
    return {};
  }

  // As the decoder hands them out: in the order of the speaker mask. Beyond 5.1 encoders disagree about what is meant.
  void speakers() {
    auto& format = walk_.result.format;
    set_default_speakers(format);
    constexpr std::uint32_t kMasks[] = {0x7, 0x107, 0x37, 0x3f};
    if (format.channels >= 3 && format.channels <= 6) set_speakers_from_mask(format, kMasks[format.channels - 3]);
  }

  // --- its tables ---

  // Count and entries of a table, and whether the box has room for them; `head` bytes stand before the entries.
  std::int64_t entries(const Mp4Box& box, std::int64_t count_at, std::int64_t head, std::int64_t width, const char* what) {
    const auto* p = box.length() >= head ? window_.at(box.body + count_at, 4) : nullptr;
    if (p == nullptr) {
      walk_.contradict(box.at, fmt::format("the {} has no room for its own head", what));
      return 0;
    }
    const std::int64_t count = be32(p);
    const auto room = width > 0 ? (box.length() - head) / width : count;
    if (count > room)
      walk_.contradict(box.at, fmt::format("the {} promises {} entries and has room for {}", what, grouped(count), grouped(room)));
    if (std::min(count, room) > kMostEntries)
      walk_.contradict(box.at, fmt::format("the {} has {} entries, {} are read", what, grouped(std::min(count, room)), grouped(kMostEntries)));
    return std::min({count, room, kMostEntries});
  }

  template <class Each>
  void each_entry(const Mp4Box& box, std::int64_t head, std::int64_t width, std::int64_t count, const Each& each) {
    for (std::int64_t i = 0; i < count; ++i) {
      const auto* p = window_.at(box.body + head + i * width, width);
      if (p == nullptr) return;
      each(p);
    }
  }

  void tables() {
    const auto& track = tracks_.front();
    if (track.times) {
      const auto count = entries(*track.times, 4, 8, 8, "table of times");
      each_entry(*track.times, 8, 8, count, [&](const std::uint8_t* p) { ticks_ = plus(ticks_, std::uint64_t{be32(p)} * be32(p + 4)); });
    }
    if (track.sizes) sizes(*track.sizes, track.small_sizes);
    if (track.chunks) {
      const std::int64_t width = track.wide_chunks ? 8 : 4;
      const auto count = entries(*track.chunks, 4, 8, width, "table of places");
      std::int64_t beyond = 0, farthest = 0;
      each_entry(*track.chunks, 8, width, count, [&](const std::uint8_t* p) {
        const auto place = track.wide_chunks ? size_from(be64(p)) : std::int64_t{be32(p)};
        if (place >= size_) ++beyond;
        farthest = std::max(farthest, place);
      });
      if (beyond > 0)
        walk_.contradict(track.chunks->at, fmt::format("{} of {} pieces of sound are said to lie behind the end of the file, up to byte {}",
                                                       grouped(beyond), grouped(count), grouped(farthest)));
    }
  }

  void sizes(const Mp4Box& box, bool small) {
    const auto* p = box.length() >= 12 ? window_.at(box.body + 4, 4) : nullptr;
    const std::int64_t each = p == nullptr || small ? 0 : be32(p);
    const std::int64_t bits = p == nullptr ? 0 : small ? p[3] : 32;
    if (each > 0) {
      const auto* count = window_.at(box.body + 8, 4);
      packets_ = count == nullptr ? 0 : be32(count);
      packet_bytes_ = plus(0, static_cast<std::uint64_t>(packets_) * static_cast<std::uint64_t>(each));  // both below 2^32
      return;
    }
    if (small && (bits == 4 || bits == 0)) return;  // four bits a packet: no sound is that small
    const auto width = std::max<std::int64_t>(1, bits / 8);
    packets_ = entries(box, 8, 12, width, "table of sizes");
    each_entry(box, 12, width, packets_, [&](const std::uint8_t* q) {
      packet_bytes_ = plus(packet_bytes_, width == 1 ? q[0] : width == 2 ? be16(q) : be32(q));
    });
  }

  // --- fragments ---

  struct FragmentDefaults {
    std::int64_t id = 0;
    std::uint32_t ticks = 0, bytes = 0;
  };

  void fragment(const Mp4Box& moof) {
    boxes_.in(moof.body, moof.end, [&](const Mp4Box& traf) {
      if (traf.type != "traf" || tracks_.empty()) return;
      std::optional<FragmentDefaults> defaults;
      boxes_.in(traf.body, traf.end, [&](const Mp4Box& box) {
        if (box.type == "tfhd") defaults = fragment_head(box);
        if (box.type == "trun" && defaults && defaults->id == tracks_.front().id) run_of_packets(box, *defaults);
      });
    });
  }

  std::optional<FragmentDefaults> fragment_head(const Mp4Box& box) {
    const auto length = std::min<std::int64_t>(box.length(), 40);
    const auto* p = length >= 8 ? window_.at(box.body, length) : nullptr;
    if (p == nullptr) return std::nullopt;
    const auto flags = be32(p) & 0xffffff;
    FragmentDefaults defaults{be32(p + 4), 0, 0};
    for (const auto& one : fragment_defaults_)
      if (one.id == defaults.id) defaults = one;
    std::int64_t at = 8 + ((flags & 1) != 0 ? 8 : 0) + ((flags & 2) != 0 ? 4 : 0);
    const auto field = [&](std::uint32_t flag, std::uint32_t& value) {
      if ((flags & flag) == 0 || at + 4 > length) return;
      value = be32(p + at);
      at += 4;
    };
    field(8, defaults.ticks);
    field(0x10, defaults.bytes);
    return defaults;
  }

  void run_of_packets(const Mp4Box& box, const FragmentDefaults& defaults) {
    const auto* p = box.length() >= 8 ? window_.at(box.body, 8) : nullptr;
    if (p == nullptr) return;
    const auto flags = be32(p) & 0xffffff;
    const std::int64_t head = 8 + ((flags & 1) != 0 ? 4 : 0) + ((flags & 4) != 0 ? 4 : 0);
    std::int64_t width = 0;
    for (const std::uint32_t flag : {0x100u, 0x200u, 0x400u, 0x800u}) width += (flags & flag) != 0 ? 4 : 0;
    const std::int64_t declared = be32(p + 4);
    if (width == 0 || box.length() < head) {
      packets_ = plus(packets_, static_cast<std::uint64_t>(declared));
      ticks_ = plus(ticks_, static_cast<std::uint64_t>(declared) * defaults.ticks);
      packet_bytes_ = plus(packet_bytes_, static_cast<std::uint64_t>(declared) * defaults.bytes);
      return;
    }
    const auto count = entries(box, 4, head, width, "list of packets");
    packets_ = plus(packets_, static_cast<std::uint64_t>(count));
    each_entry(box, head, width, count, [&](const std::uint8_t* q) {
      std::uint32_t ticks = defaults.ticks, bytes = defaults.bytes;
      if ((flags & 0x100) != 0) ticks = be32(q), q += 4;
      if ((flags & 0x200) != 0) bytes = be32(q);
      ticks_ = plus(ticks_, ticks);
      packet_bytes_ = plus(packet_bytes_, bytes);
    });
  }

  // --- what follows from it ---

  // Frames that are meant to be heard: what the tables hold, less what edit lists or the encoder's own note leave out.
  std::optional<std::int64_t> declared_frames() {
    const auto& track = tracks_.front();
    const auto rate = static_cast<std::int64_t>(sample_rate_);
    const auto ticks = ticks_ > 0 ? ticks_ : track.duration;
    if (track.timescale <= 0 || ticks <= 0) return std::nullopt;
    std::int64_t kept = 0;
    const Edit* first = nullptr;
    std::size_t played = 0;
    for (const auto& edit : track.edits) {
      if (edit.start < 0) {
        if (edit.length > 0 && movie_timescale_ > 0)
          notes_.push_back(fmt::format("an edit list begins {:.3f} s late", static_cast<double>(edit.length) / static_cast<double>(movie_timescale_)));
        continue;
      }
      ++played;
      if (first == nullptr) first = &edit;
      kept = plus(kept, static_cast<std::uint64_t>(edit.length));
    }
    if (track.edits_total > 1 && played > 1) notes_.push_back(fmt::format("an edit list of {} parts", track.edits_total));
    if (first == nullptr) return by_note().value_or(rescaled(ticks, track.timescale, rate));
    const auto skipped = std::min(first->start, ticks);
    if (skipped > 0)
      notes_.push_back(fmt::format("its edit list leaves out the first {} frames", grouped(rescaled(skipped, track.timescale, rate))));
    const auto exact = ticks - skipped;
    if (played > 1) return rescaled(kept, movie_timescale_, rate);
    if (kept == 0 || movie_timescale_ <= 0) return rescaled(exact, track.timescale, rate);
    // The movie's ticks are often as coarse as a millisecond: within one of them the track's own count is the better one.
    const auto edited = rescaled(kept, movie_timescale_, track.timescale);
    const auto coarse = track.timescale / movie_timescale_ + 1;
    return rescaled(std::abs(edited - exact) <= coarse ? exact : std::min(edited, exact), track.timescale, rate);
  }

  // "iTunSMPB", as Apple's encoders write it (common practice): zeros, frames in front, frames behind, frames of sound, in
  // hexadecimal. No specification has it.
  std::optional<std::int64_t> by_note() {
    for (const auto& tag : walk_.result.facts.tags) {
      if (tag.name != "itunsmpb") continue;
      const auto* text = tag.value.c_str();
      char* end = nullptr;
      unsigned long long fields[4] = {};
      for (auto& field : fields) {
        field = std::strtoull(text, &end, 16);
        if (end == text) return std::nullopt;
        text = end;
      }
      if (fields[3] == 0 || fields[3] > static_cast<unsigned long long>(kMostTicks)) return std::nullopt;
      notes_.push_back(fmt::format("its encoder put {} frames in front", grouped(plus(0, fields[1]))));
      return static_cast<std::int64_t>(fields[3]);
    }
    return std::nullopt;
  }

  void finish() {
    auto& [facts, format, data, expected, damage, md5, md5_bytes] = walk_.result;
    const auto& track = tracks_.front();
    if (brand_ == "qt  ") facts.container = "QuickTime";
    else if (pictures_ > 0) facts.container = "MP4";
    if (!brand_.empty()) notes_.push_back(fmt::format("brand {}", printable(brand_.substr(0, brand_.find_last_not_of(' ') + 1))));
    if (media_first_) notes_.push_back("the header stands behind the sound");
    if (fragments_) notes_.push_back("in fragments");
    if (pictures_ > 0) notes_.push_back(fmt::format("{} picture track{}", pictures_, pictures_ == 1 ? "" : "s"));
    facts.declared_frames = declared_frames();
    expected = facts.declared_frames;
    const auto ticks = ticks_ > 0 ? ticks_ : track.duration;
    if (ticks_ > 0 && track.duration > 0 && track.timescale > 0 && std::abs(ticks_ - track.duration) > 2 * data.packet_frames)
      walk_.contradict(track.times ? track.times->at : 0,
                       fmt::format("the track says it lasts {} ticks, its table of times {}", grouped(track.duration), grouped(ticks_)));
    if (packet_bytes_ > media_bytes_)
      walk_.contradict(track.sizes ? track.sizes->at : 0, fmt::format("the tables name {} bytes of sound, {} are there",
                                                                      grouped(packet_bytes_), grouped(media_bytes_)));
    data.offset = media_at_;
    data.bytes = media_length_;
    data.packets = std::min({packets_, size_, std::int64_t{1} << 32});  // each takes a byte at least
    const auto bytes = packet_bytes_ > 0 ? packet_bytes_ : pictures_ > 0 ? 0 : media_bytes_;
    if (bytes > 0 && ticks > 0 && track.timescale > 0)
      facts.bit_rate_kbit_s = 8e-3 * static_cast<double>(bytes) * static_cast<double>(track.timescale) / static_cast<double>(ticks);
    facts.bit_rate_mode = constant_ ? "constant" : "variable";
    facts.container_note = fmt::format("{}", fmt::join(notes_, "; "));
  }

  Walk& walk_;
  Window& window_;
  Mp4Boxes boxes_;
  const std::int64_t size_;

  std::string brand_;
  bool moov_ = false, squeezed_ = false, fragments_ = false, media_first_ = false, constant_ = false;
  std::int64_t media_bytes_ = 0, media_at_ = -1, media_length_ = 0;
  std::int64_t movie_timescale_ = 0;
  std::vector<Track> tracks_;  // the first sound track, once it is known
  std::int64_t more_sounds_ = 0, pictures_ = 0;
  std::vector<FragmentDefaults> fragment_defaults_;

  std::int64_t entry_rate_ = 0, channels_ = 0;
  double sample_rate_ = 0;
  std::int64_t ticks_ = 0, packets_ = 0, packet_bytes_ = 0;
  std::vector<std::string> notes_;
};

}  // namespace

Result<void> walk_mp4(Walk& walk) { return Mp4Walk(walk).run(); }

}  // namespace sendworthy::audio
