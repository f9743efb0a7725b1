//! Emulator plugin (TCG plugin interface, version 1): instructions the guest executes from one address to another.
//!
//! `-plugin libcount.so,begin=0xADDR,end=0xADDR -d plugin` prints, when the emulator ends, how often `begin` was
//! followed by `end` and the least, mean and greatest number of instructions between them: `begin` counted, `end`
//! not. One processor, so plain relaxed atomics suffice. Compile alone: `rustc -O --crate-type cdylib plugin.rs`.

use std::ffi::{CStr, CString, c_char, c_int, c_uint, c_void};
use std::sync::atomic::{AtomicU64, Ordering::Relaxed};

/// A block of translated guest code; the emulator's own.
#[repr(C)]
pub struct Block {
    _opaque: [u8; 0],
}

/// One guest instruction in a block; the emulator's own.
#[repr(C)]
pub struct Instruction {
    _opaque: [u8; 0],
}

type PluginId = u64;

// Declarations as in the emulator's public header qemu-plugin.h, version 1.
unsafe extern "C" {
    fn qemu_plugin_register_vcpu_tb_trans_cb(id: PluginId, call: extern "C" fn(PluginId, *mut Block));
    fn qemu_plugin_register_vcpu_insn_exec_inline(
        at: *mut Instruction,
        op: c_int,
        cell: *mut c_void,
        add: u64,
    );
    fn qemu_plugin_register_vcpu_insn_exec_cb(
        at: *mut Instruction,
        call: extern "C" fn(c_uint, *mut c_void),
        flags: c_int,
        data: *mut c_void,
    );
    fn qemu_plugin_tb_n_insns(block: *const Block) -> usize;
    fn qemu_plugin_tb_get_insn(block: *const Block, number: usize) -> *mut Instruction;
    fn qemu_plugin_insn_vaddr(at: *const Instruction) -> u64;
    fn qemu_plugin_register_atexit_cb(
        id: PluginId,
        call: extern "C" fn(PluginId, *mut c_void),
        data: *mut c_void,
    );
    fn qemu_plugin_outs(text: *const c_char);
}

/// Asked for by the emulator before it loads the plugin.
#[unsafe(no_mangle)]
#[allow(non_upper_case_globals)]
pub static qemu_plugin_version: c_int = 1;

const NOT_RUNNING: u64 = u64::MAX;
const INLINE_ADD_U64: c_int = 0;
const NO_REGISTERS: c_int = 0;

static BEGIN: AtomicU64 = AtomicU64::new(u64::MAX);
static END: AtomicU64 = AtomicU64::new(u64::MAX);
/// Instructions executed so far.
static EXECUTED: AtomicU64 = AtomicU64::new(0);
/// Where `EXECUTED` stood at the last `begin`.
static STARTED: AtomicU64 = AtomicU64::new(NOT_RUNNING);
static SPANS: AtomicU64 = AtomicU64::new(0);
static SUM: AtomicU64 = AtomicU64::new(0);
static LEAST: AtomicU64 = AtomicU64::new(u64::MAX);
static GREATEST: AtomicU64 = AtomicU64::new(0);
static GREATEST_AT: AtomicU64 = AtomicU64::new(0);

extern "C" fn begins(_processor: c_uint, _data: *mut c_void) {
    STARTED.store(EXECUTED.load(Relaxed), Relaxed);
}

extern "C" fn ends(_processor: c_uint, _data: *mut c_void) {
    let started = STARTED.swap(NOT_RUNNING, Relaxed);
    if started == NOT_RUNNING {
        return;
    }
    let span = EXECUTED.load(Relaxed) - started;
    let number = SPANS.fetch_add(1, Relaxed);
    SUM.fetch_add(span, Relaxed);
    LEAST.fetch_min(span, Relaxed);
    if GREATEST.fetch_max(span, Relaxed) < span {
        GREATEST_AT.store(number, Relaxed);
    }
}

extern "C" fn translated(_id: PluginId, block: *mut Block) {
    let (begin, end) = (BEGIN.load(Relaxed), END.load(Relaxed));
    // SAFETY: the emulator hands over a block that lives through this call; numbers stay below its length.
    unsafe {
        for number in 0..qemu_plugin_tb_n_insns(block) {
            let at = qemu_plugin_tb_get_insn(block, number);
            let address = qemu_plugin_insn_vaddr(at);
            // Calls run before the instruction itself is counted, or both after: spans are the same.
            if address == begin {
                qemu_plugin_register_vcpu_insn_exec_cb(at, begins, NO_REGISTERS, std::ptr::null_mut());
            }
            if address == end {
                qemu_plugin_register_vcpu_insn_exec_cb(at, ends, NO_REGISTERS, std::ptr::null_mut());
            }
            qemu_plugin_register_vcpu_insn_exec_inline(at, INLINE_ADD_U64, EXECUTED.as_ptr().cast(), 1);
        }
    }
}

extern "C" fn finished(_id: PluginId, _data: *mut c_void) {
    let spans = SPANS.load(Relaxed);
    let mean = SUM.load(Relaxed) as f64 / spans.max(1) as f64;
    let text = format!(
        "executed {} spans {spans} least {} mean {mean:.2} greatest {} at {}\n",
        EXECUTED.load(Relaxed),
        if spans == 0 { 0 } else { LEAST.load(Relaxed) },
        GREATEST.load(Relaxed),
        GREATEST_AT.load(Relaxed),
    );
    if let Ok(text) = CString::new(text) {
        // SAFETY: a C string that lives through the call.
        unsafe { qemu_plugin_outs(text.as_ptr()) };
    }
}

/// Called by the emulator when it loads the plugin: 0 if the arguments are understood.
///
/// # Safety
/// `argv` points to `argc` C strings, as the emulator's interface says.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn qemu_plugin_install(
    id: PluginId,
    _info: *const c_void,
    argc: c_int,
    argv: *const *const c_char,
) -> c_int {
    for number in 0..usize::try_from(argc).unwrap_or(0) {
        // SAFETY: see above.
        let argument = unsafe { CStr::from_ptr(*argv.add(number)) }.to_string_lossy().into_owned();
        let Some((key, value)) = argument.split_once("=0x") else { return -1 };
        let Ok(address) = u64::from_str_radix(value, 16) else { return -1 };
        // The lowest bit says Thumb in symbols and is no part of the address.
        match key {
            "begin" => BEGIN.store(address & !1, Relaxed),
            "end" => END.store(address & !1, Relaxed),
            _ => return -1,
        }
    }
    // SAFETY: the calls handed over live as long as the plugin.
    unsafe {
        qemu_plugin_register_vcpu_tb_trans_cb(id, translated);
        qemu_plugin_register_atexit_cb(id, finished, std::ptr::null_mut());
    }
    0
}
